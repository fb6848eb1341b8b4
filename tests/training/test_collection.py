"""The collection: names never guessed, pixels without metadata, a manifest that survives crashes, hostile sources."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
import signal
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from model.csv_file import cells_of, clean_text, guarded, line_of, unguarded
from model.errors import CollectionError, FloraError, PhotoError
from model.flora import CONFIGS, Species
from model.identify import Key
from model.photo.stored import LONGEST_SIDE, QUALITY, stored_jpeg
from training.collection import (
    Collection,
    Intake,
    Names,
    Outcome,
    OwnSpecies,
    Wishes,
    add_confirmed,
    archive,
    open_source,
    plan_intake,
    store,
)
from training.collection.group import group_of
from training.collection.licence import licence_of, wanted_kinds
from training.collection.names import id_of
from training.collection.plan import LEAVE_OUT

DANDELION = "taraxacum_officinale"

NEEDS_FORK = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="without fork no add is killed half-way: a collection torn by a crash goes unseen"
)


def picture(seed: int, size: tuple[int, int] = (240, 200)) -> Image.Image:
    """Coloured blobs: unlike any other seed's, and something that can be made out."""
    coarse = np.random.default_rng(seed).integers(0, 256, (24, 30, 3), dtype=np.uint8)
    return Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)


def save(path: Path, seed: int, **options: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    picture(seed).save(path, **options)
    return path


def jpeg(seed: int) -> bytes:
    out = io.BytesIO()
    picture(seed).save(out, "JPEG")
    return out.getvalue()


def exif(day: str = "2026:03:05 10:11:12", camera: str = "Unusualcam 5", turn: int = 1) -> Image.Exif:
    found = Image.Exif()
    found[0x010F], found[0x0110], found[0x0112] = "Unusualmaker", camera, turn
    found.get_ifd(0x8769)[0x9003] = day
    found.get_ifd(0x8769)[0xA431] = "SERIAL-778899"
    found.get_ifd(0x8825).update({1: "S", 2: (33.0, 51.0, 54.321), 3: "E", 4: (151.0, 12.0, 33.9)})
    return found


@pytest.fixture
def names(key: Key) -> Names:
    return Names(key.flora)


@pytest.fixture
def collection(tmp_path: Path) -> Collection:
    return Collection(tmp_path / "collection")


def plan(source: Path, names: Names, collection: Collection, wishes: Wishes | None = None, **options: Any) -> Intake:
    offered = open_source(source, wishes or Wishes(), lambda name: names.look_up(name) is not None)
    return plan_intake(offered, names, collection, "Kim", **options)


def add(source: Path, names: Names, collection: Collection, wishes: Wishes | None = None, **options: Any) -> Outcome:
    return collection.add(plan(source, names, collection, wishes, **options))


# Names


@pytest.mark.parametrize(
    ("written", "species"),
    [
        ("Common  Dandelion", DANDELION),
        ("blackgrass", "alopecurus_myosuroides"),
        ("dandelio", None),
        ("Taraxacum", None),
        ("Onion weed", ["allium_triquetrum", "asphodelus_fistulosus", "nothoscordum_borbonicum"]),
        ("_other/Garden Bed", "other:garden_bed"),
        ("other:moss", "other:moss"),
        ("_other/", None),
        ("", None),
    ],
)
def test_a_name_is_found_whatever_its_spelling_and_never_guessed(names: Names, written: str, species: object) -> None:
    assert names.look_up(written) == species


def test_an_own_species_is_known_by_its_names_and_can_make_a_name_ambiguous(key: Key) -> None:
    own = {
        "salvia_verbenaca": OwnSpecies(id="salvia_verbenaca", common_names=["wild sage", "capeweed"]),
    }
    names = Names(key.flora, own)
    assert names.look_up("Wild-Sage") == "salvia_verbenaca"
    assert names.look_up("capeweed") == ["arctotheca_calendula", "salvia_verbenaca"]


@pytest.mark.parametrize("name", ["\u84b2\u516c\u82f1", "123", "con", "...", "a" * 90])
def test_a_name_that_cannot_be_an_id_is_refused(name: str) -> None:
    with pytest.raises(CollectionError, match="cannot name a species"):
        id_of(name)


# Pixels


def test_metadata_never_reach_the_collection(tmp_path: Path, names: Names, collection: Collection) -> None:
    """One of each kind of metadata; tests/app/test_privacy.py searches all formats and stores."""
    secrets = {"icc_profile": b"secret ICC", "xmp": b"<x:xmpmeta>secret</x:xmpmeta>", "comment": b"secret"}
    original = save(tmp_path / "src" / "dandelion" / "secret_name.jpg", 1, exif=exif(), **secrets)
    assert b"Unusualcam" in original.read_bytes()
    assert add(tmp_path / "src", names, collection).added == 1
    (photo,) = collection.photos()
    stored = photo.file.read_bytes()
    for secret in (b"Unusual", b"SERIAL", b"Exif", b"GPS", b"ICC", b"xmp", b"secret", b"2026:03"):
        assert secret not in stored, secret
    everything = b"".join(p.read_bytes() for p in collection.folder.rglob("*") if p.is_file())
    assert b"Unusual" not in everything and b"SERIAL" not in everything
    assert hashlib.sha256(stored).hexdigest() == photo.file.stem == photo.name[3:67]


def test_the_stored_photo_is_upright_large_enough_and_hardly_compressed(tmp_path: Path) -> None:
    wide = picture(2, (2400, 1600))
    turned = tmp_path / "turned.jpg"
    wide.save(turned, quality=95, exif=exif(turn=6))
    data = stored_jpeg(turned)
    with Image.open(io.BytesIO(data)) as stored:
        assert stored.size == (round(LONGEST_SIDE * 1600 / 2400), LONGEST_SIDE)
        assert [component[1:3] for component in stored.layer] == [(1, 1)] * 3  # full chroma
        reference = io.BytesIO()
        picture(3).save(reference, "JPEG", quality=QUALITY)
        with Image.open(reference) as ninety_five:
            assert stored.quantization == ninety_five.quantization
        expected = wide.rotate(-90, expand=True).resize(stored.size)
        difference = np.abs(np.asarray(stored, float) - np.asarray(expected, float))
    assert difference.mean() < 2.0
    assert stored_jpeg(turned) == data


# Groups


def test_the_group_is_the_day_and_a_hashed_camera(tmp_path: Path) -> None:
    one = group_of(save(tmp_path / "a.jpg", 1, exif=exif()))
    day, camera = one.split()
    assert day == "2026-03-05" and len(camera) == 4 and int(camera, 16) >= 0
    assert group_of(save(tmp_path / "b.png", 2, exif=exif("2026:03:05 18:00:00"))) == one
    assert group_of(save(tmp_path / "c.jpg", 3, exif=exif(camera="Other 1"))) not in (one, "")
    for never_set in ("0000:00:00 00:00:00", "1970:01:01 00:00:00", "yesterday", ""):
        assert group_of(save(tmp_path / "d.jpg", 4, exif=exif(never_set))) == ""
    assert group_of(save(tmp_path / "e.jpg", 5)) == ""


def test_damaged_exif_gives_no_group_or_the_true_day_and_no_fault(tmp_path: Path) -> None:
    data = bytearray(save(tmp_path / "a.jpg", 1, exif=exif()).read_bytes())
    place, taken, groups = data.index(b"Exif"), data.index(b"2026:03:05"), {}
    for at in range(place + 6, taken + 12, 3):
        broken = bytearray(data)
        broken[at : at + 3] = b"\xff\xfe\xff"
        (tmp_path / "broken.jpg").write_bytes(broken)
        groups[at] = group_of(tmp_path / "broken.jpg")
    assert all(re.fullmatch(r"(2026-03-05( [0-9a-f]{4})?)?", group) for group in groups.values()), groups
    assert (
        groups[place + 6] == "" and "".join(group for at, group in groups.items() if taken - 2 <= at < taken + 10) == ""
    )
    assert group_of(tmp_path / "a.jpg") in groups.values(), "what is not read may be broken"


# Folders


@pytest.fixture
def folders(tmp_path: Path) -> Path:
    top = tmp_path / "weeds"
    for seed in range(4):
        save(top / "Dandelion" / f"visit {seed // 2}" / f"{seed}.jpg", seed)
    save(top / "cryptostemma_calendula" / "a.png", 10)
    save(top / "cryptostemma_calendula" / "b.jpg", 11, exif=exif())
    save(top / "_other" / "lavender" / "c.jpg", 12)
    (top / "Dandelion" / "Thumbs.db").write_bytes(b"x")
    (top / "Dandelion" / ".DS_Store").write_bytes(b"x")
    return top


def test_a_folder_of_folders_is_planned_and_then_added(folders: Path, names: Names, collection: Collection) -> None:
    intake = plan(folders, names, collection)
    assert not collection.folder.exists()
    assert {s: (t.photos, t.groups, t.ungrouped) for s, t in intake.to_add.items()} == {
        DANDELION: (4, 2, 0), "arctotheca_calendula": (2, 2, 1), "other:lavender": (1, 1, 1),
    }  # fmt: skip
    assert "taraxacum_officinale: 4 photos in 2 groups" in str(intake)
    outcome = collection.add(intake)
    assert (outcome.added, outcome.known_already, outcome.refused) == (7, 0, ())
    photos = {p.label: p for p in collection.photos()}
    assert photos[DANDELION].group == "visit 1" and photos[DANDELION].group_known
    assert not photos["other:lavender"].group_known
    assert photos["other:lavender"].group == photos["other:lavender"].name
    assert {p.group[:10] for p in collection.photos() if p.label == "arctotheca_calendula"} >= {"2026-03-05"}
    again = plan(folders, names, collection)
    assert again.known_already == 7 and not again.to_add
    before = (collection.folder / "manifest.csv").read_bytes()
    assert collection.add(again).known_already == 7
    # Also when nothing is remembered of the originals, and when somebody else had opened the collection before.
    (collection.folder / "originals.csv").unlink()
    assert add(folders, names, Collection(collection.folder)).known_already == 7
    assert (collection.folder / "manifest.csv").read_bytes() == before


def test_a_stored_photo_is_known_when_it_comes_back(folders: Path, names: Names, collection: Collection) -> None:
    add(folders, names, collection)
    photo = next(p for p in collection.photos() if p.label == DANDELION)
    outcome = add(photo.file, names, collection, Wishes(as_name="dandelion"))
    assert (outcome.added, outcome.known_already) == (0, 1)


def test_unknown_and_ambiguous_names_are_all_listed_and_nothing_is_written(
    folders: Path, names: Names, collection: Collection
) -> None:
    for seed, folder in enumerate(("yellow rattle", "milk thistle", "unheard of")):
        save(folders / folder / "x.jpg", 20 + seed)
    intake = plan(folders, names, collection)
    assert not intake.acceptable
    assert intake.unknown_names == {"yellow rattle": 1, "unheard of": 1}
    assert intake.ambiguous == {"milk thistle": ("silybum_marianum", "sonchus_oleraceus")}
    assert sum(tally.photos for tally in intake.to_add.values()) == 7, "those with a known name count all the same"
    with pytest.raises(
        CollectionError,
        match=r"'unheard of' \(1 photo\), 'yellow rattle' \(1 photo\); 'milk thistle' \(1 photo\) may be silybum_",
    ):
        collection.add(intake)
    # An ambiguous name is refused whatever else is accepted.
    assert not plan(folders, names, collection, accept_new=True).acceptable
    assert not plan(folders, names, collection, skip_unknown=True).acceptable
    assert not collection.folder.exists()


def test_a_person_says_what_each_name_means(folders: Path, names: Names, collection: Collection) -> None:
    for seed, folder in enumerate(("curly dock", "milk thistle", "unheard of", "yellow rattle")):
        save(folders / folder / "x.jpg", 20 + seed)
    meant = {"curly dock": "rumex_crispus", "milk thistle": "sonchus_oleraceus", "unheard of": LEAVE_OUT}
    intake = plan(folders, names, collection, meant=meant)
    assert intake.unknown_names == {"yellow rattle": 1} and not intake.acceptable
    intake = plan(folders, names, collection, meant=meant, new_names=["Yellow Rattle"])
    assert intake.acceptable and intake.left_out == {"unheard of": 1}
    species = collection.add(intake).species
    assert species["rumex_crispus"] == species["sonchus_oleraceus"] == species["yellow_rattle"] == 1
    assert sum(species.values()) == 10


def test_unknown_names_are_skipped_on_demand(folders: Path, names: Names, collection: Collection) -> None:
    save(folders / "unheard of" / "x.jpg", 20)
    outcome = add(folders, names, collection, skip_unknown=True)
    assert outcome.added == 7 and outcome.unknown_names == ("unheard of",)


def test_unknown_names_become_species_of_the_users_own_on_demand(
    folders: Path, key: Key, names: Names, collection: Collection
) -> None:
    save(folders / "Yellow Rattle" / "x.jpg", 20)
    save(folders / "yellow_rattle" / "y.jpg", 21)
    assert add(folders, names, collection, accept_new=True).species["yellow_rattle"] == 2
    own = collection.own_species()
    assert list(own) == ["yellow_rattle"]
    plant = own["yellow_rattle"]
    assert isinstance(plant, OwnSpecies)
    assert plant.common_names == ["Yellow Rattle"] and plant.scientific_name == "" and plant.labelled_by == "Kim"
    assert plant.added_at.endswith("Z")
    later = Names(key.flora, own)
    save(folders / "Yellow-Rattle" / "z.jpg", 22)
    assert add(folders, later, collection).species == {"yellow_rattle": 1}


def test_an_own_species_with_characters_is_a_whole_species(collection: Collection) -> None:
    folder = collection.folder / "species"
    folder.mkdir(parents=True)
    text = (CONFIGS / "species" / "bellis_perennis.yaml").read_text(encoding="utf-8")
    (folder / "salvia_verbenaca.yaml").write_text(text + "\nlabelled_by: Kim\nadded_at: 2026-03-05\nadvice: dig it\n")
    assert isinstance(collection.own_species()["salvia_verbenaca"], Species)
    (folder / "salvia_verbenaca.yaml").write_text("common_names: [wild sage]\nadded_at: 2026-03-05\nseason: later\n")
    assert isinstance(collection.own_species()["salvia_verbenaca"], OwnSpecies)
    for wrong, says in (
        ("common_name: [wild sage]\n", "common_name: no such field; did you mean common_names?"),
        ("common_names: []\n", "common_names"),
        ("id: other\ncommon_names: [a]\n", "must be the file's name"),
        ("- a\n", "holds a list"),
        ("characters: {}\ncommon_names: [a]\n", "fix that field"),
    ):
        (folder / "salvia_verbenaca.yaml").write_text(wrong)
        with pytest.raises(CollectionError, match=says):
            collection.own_species()
    assert not issubclass(CollectionError, FloraError)


def test_what_is_no_photo_is_refused_with_its_cause_and_the_rest_is_added(
    folders: Path, names: Names, collection: Collection
) -> None:
    dandelion = folders / "Dandelion"
    (dandelion / "words.jpg").write_text("words")
    (dandelion / "empty.jpg").write_bytes(b"")
    (dandelion / "cut.jpg").write_bytes(jpeg(30)[:3000])
    (dandelion / "page.gif").write_bytes(b"GIF89a")
    Image.new("RGB", (300, 300), "green").save(dandelion / "plain.jpg")
    Image.new("RGB", (20, 20)).save(dandelion / "tiny.png")
    (dandelion / "link.jpg").symlink_to("/etc/passwd")
    (folders / "elsewhere").symlink_to("/etc")
    save(folders / "loose.jpg", 31)
    save(folders / "_other" / "loose.jpg", 32)
    outcome = add(folders, names, collection)
    assert outcome.added == 7
    why = {refusal.file: refusal.why for refusal in outcome.refused}
    assert set(why) == {
        "Dandelion/words.jpg", "Dandelion/empty.jpg", "Dandelion/cut.jpg", "Dandelion/page.gif", "Dandelion/plain.jpg",
        "Dandelion/tiny.png", "Dandelion/link.jpg", "elsewhere", "loose.jpg", "_other/loose.jpg",
    }  # fmt: skip
    assert why["Dandelion/words.jpg"].startswith("is not a photo that can be read")
    assert why["Dandelion/cut.jpg"].startswith("is damaged")
    assert why["Dandelion/plain.jpg"].startswith("nothing can be made out")
    assert "is a link" in why["elsewhere"] and "--as" in why["loose.jpg"]
    assert not any(str(folders) in cause for cause in why.values())


def test_the_species_can_be_named_for_a_folder_and_for_one_photo(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    save(tmp_path / "card" / "a.jpg", 1)
    save(tmp_path / "card" / "bed 2" / "b.jpg", 2)
    wishes = Wishes("card", "Sam", ["CC BY 4.0"], as_name="dandelion")
    assert add(tmp_path / "card", names, collection, wishes).species == {DANDELION: 2}
    (row,) = collection.history(next(p.name for p in collection.photos() if p.group_known))
    assert (row.source, row.creator, row.licence, row.labelled_by, row.group) == (
        "card", "Sam", "CC BY 4.0", "Kim", "bed 2",
    )  # fmt: skip
    single = save(tmp_path / "one.jpg", 3)
    assert add(single, names, collection, wishes).added == 1
    with pytest.raises(CollectionError, match="name its species with --as"):
        add(single, names, collection)
    with pytest.raises(CollectionError, match="name it once"):
        add(single, names, collection, Wishes(licences=["a", "b"], as_name="dandelion"))


def test_a_folder_that_is_named_after_a_plant_and_holds_its_photos_needs_no_other_name(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    save(tmp_path / "Dandelion" / "a.jpg", 1)
    save(tmp_path / "Dandelion" / "bed 2" / "b.jpg", 2)
    assert add(tmp_path / "Dandelion", names, collection).species == {DANDELION: 2}
    # A manifest says more than the folder's name, and folders of plants in a folder of a plant's name are plants.
    save(tmp_path / "weeds" / "Dandelion" / "cryptostemma_calendula" / "c.jpg", 3)
    assert set(plan(tmp_path / "weeds" / "Dandelion", names, collection).to_add) == {"arctotheca_calendula"}


# Labels


def test_a_photo_is_relabelled_taken_back_and_added_again(folders: Path, names: Names, collection: Collection) -> None:
    add(folders, names, collection)
    photo = next(p.name for p in collection.photos() if p.label == DANDELION)
    collection.relabel(photo, "hypochaeris_radicata", "Sam")
    assert collection.label_of(photo) == "hypochaeris_radicata"
    assert Collection(collection.folder).label_of(photo) == "hypochaeris_radicata"
    with pytest.raises(CollectionError, match="already"):
        collection.relabel(photo, "hypochaeris_radicata", "Sam")
    # The source still says dandelion: that is a conflict to be told, not a second label.
    outcome = add(folders, names, collection)
    assert outcome.known_already == 6
    assert "is in the collection as hypochaeris_radicata" in outcome.refused[0].why
    collection.remove(photo[3:12], "Sam")
    assert collection.label_of(photo) is None and len(collection.photos()) == 6 and collection.removed() == 1
    with pytest.raises(CollectionError, match="was taken back"):
        collection.remove(photo, "Sam")
    assert add(folders, names, collection).added == 1
    assert [(r.action, r.species, r.labelled_by) for r in collection.history(photo)] == [
        ("add", DANDELION, "Kim"), ("relabel", "hypochaeris_radicata", "Sam"),
        ("remove", "hypochaeris_radicata", "Sam"), ("add", DANDELION, "Kim"),
    ]  # fmt: skip


@pytest.mark.parametrize("change", ["relabel", "remove"])
def test_what_another_program_takes_back_meanwhile_does_not_come_back(
    folders: Path, names: Names, collection: Collection, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    add(folders, names, collection)
    photo = collection.photos()[0].name
    monkeypatch.setattr(store, "WAIT", 0.05)
    other, at = Collection(collection.folder), store.now()

    def meanwhile() -> str:
        monkeypatch.setattr(store, "now", lambda: at)
        with pytest.raises(CollectionError, match="another swardkey is writing"):
            other.remove(photo, "Lee")
        return at

    monkeypatch.setattr(store, "now", meanwhile)
    collection.relabel(photo, "soliva_sessilis", "Sam") if change == "relabel" else collection.remove(photo, "Sam")
    assert [row.action for row in collection.history(photo)] == ["add", change]


def test_one_photo_in_two_folders_is_added_once_and_the_conflict_told(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    save(tmp_path / "src" / "capeweed" / "a.jpg", 1)
    save(tmp_path / "src" / "dandelion" / "a.jpg", 1)
    save(tmp_path / "src" / "dandelion" / "copy.jpg", 1)
    outcome = add(tmp_path / "src", names, collection)
    assert outcome.added == 1 and len(collection.photos()) == 1
    assert [refusal.file for refusal in outcome.refused] == ["dandelion/a.jpg", "dandelion/copy.jpg"]


@pytest.mark.parametrize("text", ["abcdef", "abc", "../../etc/passwd", "zzzzzz", ""])
def test_a_photo_that_is_not_there_is_told(collection: Collection, text: str) -> None:
    with pytest.raises(CollectionError):
        collection.find(text)


# Tables


def table(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "labels.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_table_gives_group_source_creator_licence_and_who_labelled(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    for seed in range(4):
        save(tmp_path / "pics" / f"{seed}.jpg", seed)
    save(tmp_path / "_other" / "fern" / "5.jpg", 5)
    path = table(
        tmp_path,
        "photo,species,group,source,creator,licence,labelled_by,weather\n"
        'pics/0.jpg,Dandelion,plant 1,web,"Lee, Jo",CC BY 4.0,Ash,fine\n'
        "pics\\1.jpg,capeweed,unknown,,,,,\n"
        "pics/2.jpg,capeweed\n"
        "\n"
        "_other/fern/5.jpg,,g\n",
    )
    assert add(path, names, collection, Wishes(creator="Kim")).added == 4
    rows = {row.note: row for photo in collection.photos() for row in collection.history(photo.name)}
    row = rows["0.jpg"]
    assert (row.species, row.group, row.source, row.creator, row.licence, row.labelled_by) == (
        DANDELION, "plant 1", "web", "Lee, Jo", "CC BY 4.0", "Ash",
    )  # fmt: skip
    assert (rows["1.jpg"].group, rows["1.jpg"].creator, rows["1.jpg"].labelled_by) == ("", "Kim", "Kim")
    assert rows["5.jpg"].species == "other:fern"


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_table_as_spreadsheets_write_it_is_read(
    tmp_path: Path, names: Names, collection: Collection, delimiter: str
) -> None:
    save(tmp_path / "a.jpg", 1)
    text = "Photo,Species\r\na.jpg,dandelion\r\n".replace(",", delimiter)
    assert add(table(tmp_path, text, "utf-8-sig"), names, collection).species == {DANDELION: 1}


def test_rows_that_cannot_be_taken_are_refused_by_number(tmp_path: Path, names: Names, collection: Collection) -> None:
    inside = tmp_path / "inside"
    save(inside / "a.jpg", 1)
    save(tmp_path / "outside.jpg", 2)
    (inside / "link.jpg").symlink_to(tmp_path / "outside.jpg")
    bad = [
        "../outside.jpg",
        str(tmp_path / "outside.jpg"),
        "C:/a.jpg",
        "link.jpg",
        "missing.jpg",
        ".",
        "",
        "a/../../outside.jpg",
    ]
    text = "photo,species\na.jpg,dandelion\n" + "".join(f"{name},dandelion\n" for name in bad) + "a.jpg,\n"
    outcome = add(table(inside, text), names, collection)
    assert outcome.added == 1
    assert [int(r.file.split(":")[0].split()[1]) for r in outcome.refused] == [3, 4, 5, 6, 7, 8, 9, 10, 11]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"file,species\na.jpg,dandelion\n", "photo and species"),
        (b"", "photo and species"),
        (b"photo,species\na.jpg,dandel\xff\n", "UTF-8"),
        (b'photo,species\n"' + b"x" * 140_000, "characters|field"),
    ],
)
def test_a_table_that_is_none_is_one_sentence(
    tmp_path: Path, names: Names, collection: Collection, data: bytes, says: str
) -> None:
    save(tmp_path / "a.jpg", 1)
    (tmp_path / "labels.csv").write_bytes(data)
    with pytest.raises(CollectionError, match=says):
        plan(tmp_path / "labels.csv", names, collection)


def test_more_names_than_there_are_plants_are_one_sentence(
    tmp_path: Path, names: Names, collection: Collection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("training.collection.plan.MOST_NAMES", 2)
    rows = "".join(f"{save(tmp_path / f'{n}.jpg', n).name},weed {n}\n" for n in range(3))
    (tmp_path / "labels.csv").write_text("photo,species\n" + rows)
    with pytest.raises(CollectionError, match="over 2 different plant names"):
        plan(tmp_path / "labels.csv", names, collection)


def test_of_a_long_list_of_refusals_only_the_first_are_kept(
    tmp_path: Path, names: Names, collection: Collection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("training.collection.intake.LONGEST_LIST", 100)
    text = "photo,species\n" + "".join(f"pics/IMG_{n}.jpg,dandelion\n" for n in range(3000))
    intake = plan(table(tmp_path, text), names, collection)
    assert (len(intake.refused), intake.refused_more) == (100, 2900)


# Cells


@given(st.text())
def test_a_cell_is_read_back_as_it_was_given(text: str) -> None:
    written = guarded(text)
    assert not written.startswith(("=", "+", "-", "@", "\t"))
    assert unguarded(written) == text


@given(st.lists(st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"])), min_size=10, max_size=10))
def test_a_row_is_one_line_and_is_read_back(cells: list[str]) -> None:
    line = line_of(cells)
    assert line.count("\n") == 1
    assert cells_of(line.rstrip("\n")) == [clean_text(cell) for cell in cells]


def test_formulas_and_line_breaks_from_outside_are_harmless(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    save(tmp_path / "=cmd.jpg", 1)
    out = io.StringIO()
    csv.writer(out).writerows(
        [
            ["photo", "species", "group", "source", "creator", "licence"],
            ["=cmd.jpg", "dandelion", "@SUM(A1)", "+1", '=HYPERLINK("http://x")\nnew,line', "-2"],
        ]
    )
    assert add(table(tmp_path, out.getvalue()), names, collection).added == 1
    (photo,) = collection.photos()
    assert (photo.group, photo.source, photo.licence) == ("@SUM(A1)", "+1", "-2")
    assert photo.creator == '=HYPERLINK("http://x") new,line'
    text = (collection.folder / "manifest.csv").read_text()
    assert text.count("\n") == 2
    for cell in next(csv.reader([text.splitlines()[1]])):
        assert not cell.startswith(("=", "+", "-", "@", "\t"))


# Crashes


def killed_at(name: str, number: int, act: Callable[[], object]) -> None:
    """Act in a child process, which gets SIGKILL before its n-th ``fsync`` or ``replace``."""
    child = os.fork()
    if child == 0:
        owner: Any = os if name == "fsync" else Path
        real, left = getattr(owner, name), [number]

        def call(*given: object) -> object:
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*given)

        setattr(owner, name, call)
        try:
            act()
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL, "the point was never reached"


@NEEDS_FORK
@pytest.mark.parametrize(
    ("name", "number"), [("fsync", 1), ("fsync", 5), ("fsync", 12), ("replace", 2), ("replace", 3)]
)
def test_a_kill_in_the_middle_loses_nothing_and_the_next_run_completes(
    folders: Path, names: Names, tmp_path: Path, name: str, number: int
) -> None:
    folder = tmp_path / "collection"
    killed_at(name, number, lambda: add(folders, names, Collection(folder)))
    after = Collection(folder).open()
    kept = len(after.photos())
    assert len(after.orphans()) <= 2 and kept < 7
    outcome = add(folders, names, after)
    assert (outcome.added, outcome.known_already) == (7 - kept, kept)
    whole = Collection(folder).open()
    assert len(whole.photos()) == 7 and not whole.notes and not [p for p in whole.orphans() if p.suffix == ".jpg"]
    assert all(hashlib.sha256(p.file.read_bytes()).hexdigest() == p.file.stem for p in whole.photos())


@pytest.mark.parametrize("cut", [1, 30])
def test_a_torn_last_line_is_set_aside_and_said(folders: Path, names: Names, collection: Collection, cut: int) -> None:
    add(folders, names, collection)
    manifest = collection.folder / "manifest.csv"
    data = manifest.read_bytes()
    last = data.splitlines()[-1]
    manifest.write_bytes(data[:-cut])
    opened = Collection(collection.folder).open()
    assert len(opened.photos()) == 6 and len(opened.orphans()) == 1
    assert "manifest.torn" in opened.notes[0]
    assert (collection.folder / "manifest.torn").read_bytes() == last[: len(last) + 1 - cut] + b"\n"
    assert manifest.read_bytes() == data[: -len(last) - 1]
    assert not Collection(collection.folder).open().notes
    assert add(folders, names, opened).added == 1


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"ab,cd\n", "line 9: has 2 cells, not 10"),
        (b"../x.jpg,a,,,,,,,add,\n", "line 9: is not a collection row"),
        (b"aa/" + b"a" * 64 + b".jpg,a,,,,,,,burn,\n", "line 9: is not a collection row"),
        (b"\xff\n", "line 9: not UTF-8"),
        (b'"a,b\n', "line 9"),
    ],
)
def test_a_line_that_is_no_row_is_named(
    folders: Path, names: Names, collection: Collection, line: bytes, says: str
) -> None:
    add(folders, names, collection)
    with (collection.folder / "manifest.csv").open("ab") as file:
        file.write(line)
    with pytest.raises(CollectionError, match=says):
        Collection(collection.folder).open()


def test_a_manifest_saved_by_a_spreadsheet_is_read(folders: Path, names: Names, collection: Collection) -> None:
    add(folders, names, collection)
    manifest = collection.folder / "manifest.csv"
    manifest.write_bytes(b"\xef\xbb\xbf" + manifest.read_bytes().replace(b"\n", b"\r\n"))
    assert len(Collection(collection.folder).photos()) == 7
    manifest.write_bytes(b"a,b\n")
    with pytest.raises(CollectionError, match="its first line must be photo,species"):
        Collection(collection.folder).open()


@NEEDS_FORK
def test_two_processes_may_add_at_the_same_time(folders: Path, names: Names, collection: Collection) -> None:
    children = []
    for _ in range(2):
        child = os.fork()
        if child == 0:
            try:
                add(folders, names, Collection(collection.folder))
                os._exit(0)
            finally:
                os._exit(1)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
    assert len(collection.photos()) == 7
    assert (collection.folder / "manifest.csv").read_text().count("\n") == 8


def test_a_disk_that_fails_is_one_sentence(
    folders: Path, names: Names, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CollectionError, match="Not a directory"):
        add(folders, names, Collection(tmp_path / "file"))

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CollectionError, match="No space left on device"):
        add(folders, names, Collection(tmp_path / "full"))
    assert not Collection(tmp_path / "full").photos()


# Zips


def pack(path: Path, members: dict[str, bytes], **options: int) -> Path:
    with zipfile.ZipFile(path, "w", **options) as out:
        for name, data in members.items():
            info = zipfile.ZipInfo("x")
            info.filename, info.compress_type = name, out.compression
            out.writestr(info, data)
    return path


@pytest.mark.parametrize("top", ["", "My weeds/"])
def test_a_zip_of_folders_is_read_with_or_without_the_folder_that_wraps_it(
    tmp_path: Path, names: Names, collection: Collection, top: str
) -> None:
    members = {
        f"{top}dandelion/visit 1/a.jpg": jpeg(1),
        f"{top}_other/fern/b.jpg": jpeg(2),
        f"{top}capeweed/visit 1/c.jpg": jpeg(3),
        "__MACOSX/dandelion/._a.jpg": b"x",
    }
    path = pack(tmp_path / "weeds.zip", members)
    outcome = add(path, names, collection)
    assert outcome.species == {"arctotheca_calendula": 1, "other:fern": 1, DANDELION: 1} and not outcome.refused
    assert {p.group for p in collection.photos() if p.group_known} == {"visit 1"}
    assert not [p for p in tmp_path.rglob("*.jpg") if "collection" not in p.parts]


@pytest.mark.parametrize("top", ["", "set/"])
def test_a_zip_of_a_table_is_read(tmp_path: Path, names: Names, collection: Collection, top: str) -> None:
    text = "photo,species,group\na.jpg,dandelion,p1\n../a.jpg,dandelion,p1\nb.jpg,dandelion,p2\n"
    path = pack(tmp_path / "set.zip", {f"{top}a.jpg": jpeg(1), f"{top}manifest.csv": text.encode()})
    outcome = add(path, names, collection)
    assert outcome.added == 1 and [r.file for r in outcome.refused] == ["row 3: ../a.jpg", "row 4: b.jpg"]


NASTY = [
    "../evil.jpg", "/etc/evil.jpg", "C:evil.jpg", "dandelion\\evil.jpg", "dandelion/a.jpg:b", "aux/a.jpg",
    "dandelion/a.jpg.", "dandelion/./a.jpg", "dandelion/a\nb.jpg", "dandelion/gpj.\u202eexe",
    "dandelion/" + "a" * 250 + ".jpg", "dandelion/more.zip", "",
]  # fmt: skip


@pytest.mark.parametrize("name", NASTY)
def test_a_zip_with_a_nasty_name_is_refused_and_nothing_is_written(
    tmp_path: Path, names: Names, collection: Collection, name: str
) -> None:
    path = pack(tmp_path / "weeds.zip", {"dandelion/good.jpg": jpeg(1), name: jpeg(2)})
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(CollectionError, match=r"member .* the zip is refused") as error:
        plan(path, names, collection)
    assert "\n" not in str(error.value) and "\x1b" not in str(error.value)
    assert name.strip("./\\ ")[:4].split("\n")[0] in str(error.value)
    assert sorted(tmp_path.rglob("*")) == before


def blank(size: int = 5_000_000) -> bytes:
    """A photo that is all one colour shrinks in a zip to next to nothing."""
    return b"\xff\xd8\xff" + b"\0" * size


def test_a_blank_photo_in_a_zip_is_set_aside_and_the_others_go_in(
    tmp_path: Path, names: Names, collection: Collection, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = {"dandelion/a.jpg": jpeg(1), "dandelion/b.jpg": blank(), "capeweed/c.jpg": jpeg(2)}
    path = pack(tmp_path / "weeds.zip", photos, compression=zipfile.ZIP_DEFLATED)
    monkeypatch.setattr(archive, "MOST_BYTES", 4_000_000)  # what is never unpacked does not count
    intake = plan(path, names, collection)
    assert [refusal.file for refusal in intake.refused] == ["dandelion/b.jpg"]
    outcome = collection.add(intake)
    assert outcome.added == 2 and outcome.refused[0].why.startswith("is blank, or not a photo")
    with pytest.raises(PhotoError, match="is blank"), archive.ZipTree(path).get("dandelion/b.jpg"):
        pass


def with_member(kind: str) -> bytes:
    """A zip with one member that is refused for what it is."""
    out, info = io.BytesIO(), zipfile.ZipInfo("dandelion/x.jpg")
    modes = {"link": 0o120777, "device": 0o020666}
    if kind in modes:
        info.create_system, info.external_attr = 3, modes[kind] << 16
    info.compress_type = {"bzip2": zipfile.ZIP_BZIP2, "bomb": zipfile.ZIP_DEFLATED}.get(kind, zipfile.ZIP_STORED)
    if kind == "bomb":
        info.filename = "dandelion/x.csv"  # of a photo it is only set aside
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(info, b"\0" * 5_000_000 if kind == "bomb" else jpeg(1))
    data = bytearray(out.getvalue())
    if kind == "encrypted":
        data[data.index(b"PK\x01\x02") + 8] |= 1
    return bytes(data.replace(b"n/x.jpg", b"n/x\0jpg") if kind == "nul" else data)


@pytest.mark.parametrize(
    ("kind", "says"),
    [
        ("link", "is a link"),
        ("device", "not an ordinary file"),
        ("bzip2", "packed in a way"),
        ("bomb", "over 100 times"),
        ("encrypted", "is encrypted"),
        ("nul", "a character in its name"),
    ],
)
def test_a_zip_with_a_member_that_is_no_photo_file_is_refused(
    tmp_path: Path, names: Names, collection: Collection, kind: str, says: str
) -> None:
    (tmp_path / "weeds.zip").write_bytes(with_member(kind))
    with pytest.raises(CollectionError, match=rf"member dandelion/x.*{says}"):
        plan(tmp_path / "weeds.zip", names, collection)


@pytest.mark.parametrize(
    ("one", "other"),
    [("dandelion/a.jpg", "Dandelion/A.JPG"), ("dandelion/caf\u00e9.jpg", "dandelion/cafe\u0301.jpg")],
)
def test_names_that_fall_together_on_some_disk_are_refused(
    tmp_path: Path, names: Names, collection: Collection, one: str, other: str
) -> None:
    path = pack(tmp_path / "weeds.zip", {one: jpeg(1), other: jpeg(2)})
    with pytest.raises(CollectionError, match="same name"):
        plan(path, names, collection)


def test_sizes_that_lie_do_not_help_a_bomb(tmp_path: Path, names: Names, collection: Collection) -> None:
    """The list of members claims little; what is unpacked is what counts."""
    path = tmp_path / "weeds.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("dandelion/x.jpg", jpeg(1) + b"\0" * 5_000_000)
        out.writestr("dandelion/y.jpg", jpeg(2))
    data = bytearray(path.read_bytes())
    place = data.index(b"PK\x01\x02")
    data[place + 24 : place + 28] = struct.pack("<L", 9000)
    path.write_bytes(data)
    outcome = add(path, names, collection)
    assert outcome.added == 1 and "is damaged in the zip" in outcome.refused[0].why


def test_caps_on_members_and_on_bytes_hold(
    tmp_path: Path, names: Names, collection: Collection, monkeypatch: pytest.MonkeyPatch
) -> None:
    members = {f"dandelion/{n}.jpg": jpeg(n) for n in range(6)}
    path = pack(tmp_path / "weeds.zip", members)
    monkeypatch.setattr(archive, "MOST_ENTRIES", 5)
    with pytest.raises(CollectionError, match="lists over 5 members"):
        plan(path, names, collection)
    monkeypatch.setattr("model.zip_file.LONGEST_ENTRY", 20)
    with pytest.raises(CollectionError, match="list of members is too long"):
        plan(path, names, collection)
    monkeypatch.undo()
    monkeypatch.setattr(archive, "MOST_BYTES", sum(map(len, members.values())) - 1)
    with pytest.raises(CollectionError, match="unpacks to over"):
        plan(path, names, collection)
    # What is counted while reading: the claims fit, the bytes do not.
    monkeypatch.undo()
    tree = archive.ZipTree(path)
    monkeypatch.setattr(archive, "MOST_BYTES", 20_000)
    with pytest.raises(CollectionError, match="brings the zip over"):
        for name in map(str, tree.names()):
            with tree.get(name):
                pass


@pytest.mark.parametrize("data", [b"", b"PK\x05\x06" + b"\0" * 18, b"words" * 100])
def test_a_zip_that_is_none_or_empty_is_one_sentence_or_nothing(
    tmp_path: Path, names: Names, collection: Collection, data: bytes
) -> None:
    (tmp_path / "weeds.zip").write_bytes(data)
    try:
        assert not plan(tmp_path / "weeds.zip", names, collection).to_add
    except CollectionError as error:
        assert "not a readable zip" in str(error) or "lists over" in str(error)


def test_a_damaged_member_is_refused_and_the_rest_is_added(
    tmp_path: Path, names: Names, collection: Collection
) -> None:
    path = pack(tmp_path / "weeds.zip", {"dandelion/a.jpg": jpeg(1), "dandelion/b.jpg": jpeg(2)})
    data = bytearray(path.read_bytes())
    data[data.index(jpeg(1)) + 900] ^= 0xFF
    path.write_bytes(data)
    outcome = add(path, names, collection)
    assert outcome.added == 1
    assert outcome.refused[0].file == "dandelion/a.jpg" and "damaged in the zip" in outcome.refused[0].why


# Licences


@pytest.mark.parametrize(
    ("text", "licence"),
    [
        ("http://creativecommons.org/licenses/by/4.0/", "CC BY 4.0"),
        ("https://creativecommons.org/licenses/by-sa/3.0/au/legalcode", "CC BY-SA 3.0"),
        ("CC_BY_NC_4_0", "CC BY-NC 4.0"),
        ("cc0", "CC0"),
        ("https://creativecommons.org/publicdomain/zero/1.0/legalcode", "CC0"),
        ("Public Domain", "public domain"),
        ("Creative Commons Attribution-ShareAlike 4.0 International License", "CC BY-SA 4.0"),
        ("http://creativecommons.org.evil.example/licenses/by/4.0/", ""),
        ("All rights reserved", ""),
        ("not CC BY", ""),
        ("http://[", ""),
        ("", ""),
    ],
)
def test_a_licence_is_known_in_its_many_spellings(text: str, licence: str) -> None:
    assert licence_of(text) == licence


def test_wanted_licences_are_exact_kinds() -> None:
    assert wanted_kinds(["cc-by", "https://creativecommons.org/licenses/by-nc/4.0/"]) == ("CC BY", "CC BY-NC")
    assert "CC BY-NC" not in wanted_kinds([])
    with pytest.raises(CollectionError, match="is not a known licence"):
        wanted_kinds(["mine"])


# Confirmed identifications


def test_only_a_confirmed_finding_that_the_user_agrees_to_is_added(tmp_path: Path, collection: Collection) -> None:
    photos = [save(tmp_path / f"{n}.jpg", n) for n in range(2)]
    for status, agreed in (("likely", True), ("confirmed", False), ("undecided", False)):
        with pytest.raises(CollectionError, match="were not added"):
            add_confirmed(collection, photos, DANDELION, "Kim", status=status, agreed=agreed)
    assert not collection.folder.exists()
    outcome = add_confirmed(collection, photos, DANDELION, "Kim", status="confirmed", agreed=True)
    assert outcome.species == {DANDELION: 2}
    one, two = collection.photos()
    assert one.group == two.group and one.group.startswith("plant ") and one.source == "confirmed identification"
    again = add_confirmed(
        collection, [*photos, tmp_path / "gone.jpg"], DANDELION, "Kim", status="confirmed", agreed=True
    )
    assert again.known_already == 2 and again.refused[0].why == "no such file"


def test_every_accepted_name_and_id_of_the_flora_means_its_species(key: Key, names: Names) -> None:
    for species, plant in key.flora.species.items():
        assert names.look_up(species) == names.look_up(plant.scientific_name) == species
        for name in (*plant.synonyms, *plant.common_names):
            found = names.look_up(name)
            assert species in (found if isinstance(found, list) else [found])
