"""What is written to the user's folder, store by store: how it is prepared, written to, and read back whole."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from PIL import Image

from app.records import (
    KeptPhoto,
    back_up,
    check_records,
    journal,
    open_records,
    plan_restore,
    schema,
)
from app.records.database import FILE
from tests.app.record_book import filled, keep_some, photo
from tests.security.forked import commands
from training.collection import Collection
from training.registry.model_folder import fault_of
from training.registry.models import STARTER_FOLDER, Registry

Home = Path
# Of every record: what a person wrote, without the times and the random ids that differ from run to run.
CONTENT = {
    "clients": "name, phone",
    "sites": "client, address, state",
    "visits": "site, day, who, purpose",
    "photos": "visit, sha256, shows",
    "findings": "visit, status, species, confirmed_by",
    "plans": "visit, chosen",
    "treatments": "visit, content",
    "signed": "sequence, kind, record, content, signed_by, amends, reason",
    "groups_used": 'site, day, "group", treatment',
    "follow_ups": "site, due, what, done",
    "drafts": "state, visit",
    "words": "kind, record, text",
}


@dataclass(frozen=True)
class Store:
    """``prepare`` fills a home; ``work`` writes to it once more; ``state`` is what is there, as plain data.

    ``state`` raises AssertionError for anything half done. ``parts``: the work has several steps,
    each of which may be done or not; then ``state`` is a list of them. ``again``: the same work ends
    in the same state when it is done once more; else it is refused in a sentence then. ``optional``: kept
    where that is possible, and the work is done all the same where it is not.
    """

    name: str
    prepare: Callable[[Home], None]
    work: Callable[[], None]
    state: Callable[[Home], Any]
    parts: bool = False
    again: bool = True
    optional: bool = False


def home_of() -> Path:
    """The home of the fork."""
    return Path(os.environ["SWARDKEY_HOME"])


# Records


def written(home: Home) -> dict[str, list[list[Any]]]:
    """All that people wrote in the records, which must be sound."""
    with open_records() as records:
        found = check_records(records)
        assert found.sound, found.faults
        read = records.database.read
        return {
            table: [list(row) for row in read(f"SELECT {columns} FROM {table} ORDER BY {_key(table)}")]
            for table, columns in CONTENT.items()
        }


def _key(table: str) -> str:
    return "sequence" if table == "signed" else "id"


def a_book(home: Home) -> None:
    """One of each, unsigned; and a treatment that is signed."""
    with open_records(home / "records") as records:
        kept = keep_some(records)
        records.sign("treatment", kept.treatment.id, "Kim")
        second = records.add_treatment(filled(records.new_treatment(kept.visit)))
        assert (kept.visit, second.id) == (1, 2)
        records.save_draft({"step": "plan"}, "d" * 22)
    photo(home / "shot.jpg")
    (home / "less.yaml").write_text("area_m2: 9\n", encoding="utf-8")


def _a_visit() -> None:
    """All parts of a visit and its photo in one transaction, and a draft that becomes it."""
    with open_records() as records:
        if len(records.clients()) > 1:
            return
        with records.together():
            kept = keep_some(records)
            records.add_photo(KeptPhoto(kept.visit, records.store_photo(home_of() / "shot.jpg")))
            records.sign("treatment", kept.treatment.id, "Kim")
            records.save_draft({"step": "record", "text": "x" * 20_000}, "d" * 22)
            records.end_draft("d" * 22, kept.visit)


def _of_the_first_version(home: Home) -> None:
    # No book had a journal then.
    before = {"note": lambda *_: None, "mark": lambda *_: ""}
    with patch.object(schema, "MIGRATIONS", schema.MIGRATIONS[:1]), patch.multiple(journal, **before):
        a_book(home)


def _migrated(home: Home) -> dict[str, Any]:
    """Read without opening it as a program would, which would migrate it."""
    with closing(sqlite3.connect(home / "records" / FILE)) as book:
        version = book.execute("PRAGMA user_version").fetchone()[0]
        tables = sorted(schema.shape(book))
        names = book.execute("SELECT count(*) FROM notes").fetchone()[0]
        signed = book.execute("SELECT sequence, sha256 FROM signed").fetchall()
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    for copy in (home / "records").glob("before-version-*.sqlite"):
        with closing(sqlite3.connect(copy)) as kept:
            assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert kept.execute("SELECT sequence, sha256 FROM signed").fetchall() == signed
    return {"version": version, "tables": tables, "dataset": names, "signed": len(signed)}


# Collection


def picture(path: Path, seed: int) -> Path:
    """A photo of blobs that no other seed has."""
    random = np.random.default_rng(seed)
    blobs = np.kron(random.normal(0, 60, (8, 8, 3)), np.ones((12, 12, 1)))
    pixels = blobs + random.normal(0, 15, (96, 96, 3)) + np.array((90, 140, 60))
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(path, quality=92)
    return path


def a_collection(home: Home) -> None:
    """Two photos in, and a folder with two more, one of a plant that is not in the key."""
    for name, seed in (("Soliva sessilis/1", 1), ("Soliva sessilis/2", 2)):
        picture(home / "first" / f"{name}.jpg", seed)
    for name, seed in (("Soliva sessilis/3", 3), ("Novoplantus mirabilis/4", 4)):
        picture(home / "more" / f"{name}.jpg", seed)
    commands(["collect", "add", str(home / "first"), "--yes", "--by", "Kim", "--json"])()
    shutil.rmtree(home / "first")


def collected(home: Home) -> list[Any]:
    """Every photo with its label and its rows, and every species of one's own; the files must be whole."""
    collection = Collection(home / "collection").open()
    found: list[Any] = []
    for kept in collection.photos():
        assert hashlib.sha256(kept.file.read_bytes()).hexdigest() == kept.file.stem, kept.file
        found.append([kept.name, kept.label, [row.action for row in collection.history(kept.name)]])
    own = collection.own_species()
    labels = {entry[1] for entry in found}
    # A species is written before the first photo of it; without one it is no more than a name.
    return [*found, *([name] for name in sorted(own) if name in labels)]


def _relabel() -> None:
    collection = Collection(home_of() / "collection").open()
    collection.relabel(collection.photos()[0].name, "poa_annua", "Kim")


def _remove() -> None:
    collection = Collection(home_of() / "collection").open()
    # The same one, whether or not it is taken back by now.
    collection.remove(min(row.photo for row in collection._rows()), "Kim")


def _add() -> None:
    commands(["collect", "add", str(home_of() / "more"), "--yes", "--accept-new", "--by", "Kim", "--json"])()


# Models


def a_model(folder: Path, text: str) -> Path:
    """A folder with the files of a model: the shipped one with another card."""
    shutil.copytree(STARTER_FOLDER, folder)
    (folder / "card.md").write_text(text)
    return folder


def two_models(home: Home) -> None:
    """One model after another in charge, and a third beside."""
    registry = Registry(home / "models")
    for text in ("one", "two"):
        name = registry.install(a_model(home / text, text))
        registry.use(name)
        shutil.rmtree(home / text)
    a_model(home / "three", "three")


def in_charge(home: Home) -> list[str]:
    """The cards of the model in charge and the one before; every model is sound, and what was done is logged."""
    registry = Registry(home / "models")
    assert all(fault_of(home / "models" / name) == "" for name in registry.names())
    assert registry.in_charge().note == ""
    pointer = registry.pointer()
    logged = [entry["model"] for entry in registry.history() if entry["action"] != "keep"]
    assert pointer.current == "starter" or pointer.current in logged[-2:], "in charge, and nobody wrote it down"
    folders = [registry.starter if n in (None, "starter") else registry.folder / n for n in vars(pointer).values()][:2]
    return [(folder / "card.md").read_text()[:40] for folder in folders]


def _promote() -> None:
    registry = Registry(home_of() / "models")
    registry.use(registry.install(home_of() / "three"))


def _undo() -> None:
    commands(["models", "undo"])()


# Backup and restore


def everything(home: Home) -> None:
    """A little of everything."""
    a_book(home)
    a_collection(home)
    (home / "models").mkdir()
    (home / "models" / "promotions.jsonl").write_text("{}\n")


def _backed_up(home: Home) -> Any:
    """Whether the backup is there; then it is read as restore would read it, and every file in it compared."""
    import zipfile

    file = home / "b.zip"
    if not file.exists():
        return None
    plan_restore(file, home)
    with zipfile.ZipFile(file) as archive:
        for name, entry in json.loads(archive.read("manifest.json"))["files"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == entry["sha256"]
        return sorted(archive.namelist())


def _to_restore(home: Home) -> None:
    """A home with a backup of its former days, before things were signed and learned."""
    everything(home)
    back_up(home, home.parent / f"{home.name}-b.zip")
    with open_records(home / "records") as records:
        records.sign("treatment", 2, "Kim")
    commands(["collect", "remove", Collection(home / "collection").open().photos()[0].name, "--by", "Kim"])()
    shutil.move(home.parent / f"{home.name}-b.zip", home / "b.zip")


def _restored(home: Home) -> Any:
    return {"records": written(home), "collection": collected(home)}


# Features


def few(home: Home) -> None:
    """A collection of six photos, no features yet."""
    for i in range(6):
        picture(home / "few" / "Soliva sessilis" / f"{i}.jpg", i)
    commands(["collect", "add", str(home / "few"), "--yes", "--by", "Kim", "--json"])()
    shutil.rmtree(home / "few")


def kept_features(home: Home) -> int:
    """How many photos the cache knows; all rows must be finite."""
    from training.data.features import _kept

    file = home / "cache" / "features.safetensors"
    found = _kept(file)
    assert found or not file.exists(), "a cache that cannot be read lies there"
    assert all(np.isfinite(row).all() for row in found.values())
    return len(found)


def look_at_photos() -> None:
    """Compute the features of the collection."""
    from training.data.features import features_of

    photos = Collection(home_of() / "collection").open().photos()
    _, notes = features_of(photos, home_of() / "cache" / "features.safetensors")
    assert not any(notes), notes


# Signed rows, wherever they are


def chain(home: Home) -> list[str]:
    """The longest chain of signed rows in any record book under the home: none may ever be lost."""
    found: list[str] = []
    for book in home.rglob(FILE):
        try:
            with closing(sqlite3.connect(book)) as opened:
                rows = [row[0] for row in opened.execute("SELECT sha256 FROM signed ORDER BY sequence")]
        except sqlite3.DatabaseError:
            continue
        found = max(found, rows, key=len)
    return found


SIGN = ("records", "sign", "treatment", "2", "--by", "Kim")
AMEND = ("records", "amend", "treatment", "1", "less.yaml", "--by", "Kim")
STORES = (
    Store("records: a visit with all its parts", a_book, _a_visit, written),
    Store("records: sign", a_book, commands([*SIGN, "--json"]), written, again=False),
    Store("records: amend", a_book, commands([*AMEND, "--because", "less", "--json"]), written, again=False),
    # A book that cannot be written is read from a copy in memory.
    Store("migration", _of_the_first_version, commands(["records", "check"]), _migrated, optional=True),
    Store("backup", everything, commands(["backup", "b.zip", "--json"]), _backed_up, again=False),
    Store("restore", _to_restore, commands(["restore", "b.zip", "--yes", "--json"]), _restored),
    Store("collection: add", a_collection, _add, collected, parts=True),
    Store("collection: relabel", a_collection, _relabel, collected, again=False),
    Store("collection: remove", a_collection, _remove, collected, again=False),
    Store("features kept", few, look_at_photos, kept_features, optional=True),
    Store("promotion", two_models, _promote, in_charge),
    Store("undo", two_models, _undo, in_charge, again=False),
)
