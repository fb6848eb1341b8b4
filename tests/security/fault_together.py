"""Two programs at once, and a clock that was set back."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

from app.records import Client, KeptPhoto, check_records, open_records, schema
from app.records.photos import photo_name
from tests.app.record_book import keep_some
from tests.security import fault_stores as stores
from tests.security.fault_bench import Tally
from tests.security.forked import Program, ask, commands, prepared, run
from training.collection import Collection
from training.registry.models import Registry

TIMES = 20  # how often each of two programs writes


def at_once(tally: Tally, home: Path, works: Sequence[Callable[[], None]]) -> list[int | str]:
    """All of them at the same time; the exit status of each, or the sentence in which it said no."""
    ended = [program.end() for program in [Program(home, work) for work in works]]
    for one in ended:
        tally.runs += 1
        tally.tracebacks += one.tracebacks
        if not one.in_a_sentence:
            tally.broken.append(f"{tally.store}: {one.err[-1500:]}{one.fault(home)}")
    return [one.err if one.status == 2 else one.status for one in ended]


def expect(tally: Tally, found: Any, wanted: Any) -> None:
    """Note whether it ended as it should."""
    if found == wanted:
        tally.after += 1
    else:
        tally.half_done += 1
        tally.broken.append(f"{tally.store}: {found} instead of {wanted}"[:1500])


def two_adds(top: Path) -> Tally:
    """The same two photos, and others, by three programs at once."""
    tally = Tally("collect add, three at once", "at once")
    home = prepared(top / "adds", stores.a_collection)
    for seed in range(5, 9):
        stores.picture(home / "others" / "Poa annua" / f"{seed}.jpg", seed)
    others = commands(["collect", "add", str(home / "others"), "--yes", "--by", "Lee", "--json"])
    expect(tally, at_once(tally, home, [stores._add, others, stores._add]), [0, 0, 0])
    expect(tally, len([row for row in ask(home, stores.collected) if len(row) == 3]), 8)
    return tally


def _counted(home: Path) -> list[Any]:
    with open_records() as records:
        found = check_records(records)
        return [found.sound, len(records.clients()), len(records.recent_drafts(1000)), found.signed]


def page_and_command_line(top: Path, times: int = TIMES) -> Tally:
    """Somebody walks the pages, whose every button saves a draft, while clients are added and records signed."""
    tally = Tally("serve and command line", "at once")
    home = prepared(top / "serve", stores.a_book)

    def pages() -> None:
        from app.web.context import open_context
        from tests.app.page_visitor import Person

        context = open_context()
        for _ in range(times):
            person = Person(context).press("look", month="11")
            assert not person.notices, person.notices

    adding = commands(*(["records", "clients", "--add", f"C{n}", "--json"] for n in range(times)))
    signing = commands(
        ["records", "sign", "treatment", "2", "--by", "Kim", "--json"],
        ["records", "sign", "visit", "1", "--by", "Kim", "--json"],
    )
    expect(tally, at_once(tally, home, [pages, adding, signing]), [0, 0, 0])
    expect(tally, ask(home, _counted), [True, times + 1, times + 1, 3])
    return tally


def use_while_naming(top: Path, times: int = TIMES, photos: int = 2) -> Tally:
    """The model in charge is changed again and again while photos are named."""
    tally = Tally("models use while identifying", "at once")
    home = prepared(top / "use", stores.two_models)
    names = Registry(home / "models").names()
    shot = str(stores.picture(home / "shot.jpg", 77))

    def read() -> None:
        for _ in range(times):
            _, found = Registry(home / "models").load(lambda folder: (folder / "card.md").read_bytes())
            assert found.name in names and not found.note, found

    using = commands(*(["models", "use", names[n % 2], "--json"] for n in range(times)))
    naming = commands(*(["identify", shot, "--json"] for _ in range(photos)))
    expect(tally, at_once(tally, home, [using, naming, read, using]), [0, 0, 0, 0])
    expect(tally, Registry(home / "models").in_charge().name in names, True)
    return tally


def two_backups(top: Path) -> Tally:
    """Two backups to one file: one of them whole, whichever it is."""
    tally = Tally("backup, two at once", "at once")
    home = prepared(top / "backups", stores.everything)
    work = commands(["backup", "b.zip", "--json"])
    statuses = at_once(tally, home, [work, work])
    expect(tally, 0 in statuses, True)
    expect(tally, ask(home, stores._backed_up) is not None, True)
    return tally


def two_restores(top: Path) -> Tally:
    """Two restores, and somebody who writes records meanwhile."""
    tally = Tally("restore, two at once", "at once")
    home = prepared(top / "restores", stores._to_restore)
    signed = ask(home, stores.chain)
    work = commands(["restore", "b.zip", "--yes", "--json"])
    adding = commands(*(["records", "clients", "--add", "C", "--json"] for _ in range(5)))
    statuses = at_once(tally, home, [work, work, adding])
    expect(tally, 0 in statuses[:2], True)
    expect(tally, len([row for row in ask(home, stores._restored)["collection"] if len(row) == 3]), 2)
    if ask(home, stores.chain)[: len(signed)] != signed:
        tally.signed_lost += 1
        tally.broken.append("restore, two at once: signed rows are lost")
    return tally


def two_migrations(top: Path) -> Tally:
    """Three programs open a record book of the first version at once."""
    tally = Tally("migration, three at once", "at once")
    home = prepared(top / "migrations", stores._of_the_first_version)
    expect(tally, at_once(tally, home, [commands(["records", "clients"])] * 3), [0, 0, 0])
    expect(tally, ask(home, stores._migrated)["version"], len(schema.MIGRATIONS))
    return tally


def one_photo_twice(top: Path, times: int = TIMES) -> Tally:
    """The same photo is kept by two programs at once: the file is whole whenever it is looked at."""
    tally = Tally("records: a photo, two at once", "at once")
    home = prepared(top / "photos", stores.a_book)

    def work() -> None:
        for _ in range(times):
            with open_records() as records:
                file = records.folder / "photos" / photo_name(records.store_photo(home / "shot.jpg"))
                with suppress(FileNotFoundError):  # the other one has taken it away
                    assert file.read_bytes()[-2:] == b"\xff\xd9", "half a photo"
                file.unlink(missing_ok=True)

    expect(tally, at_once(tally, home, [work, work]), [0, 0])
    return tally


AT_ONCE: tuple[Callable[[Path], Tally], ...] = (
    two_adds,
    page_and_command_line,
    use_while_naming,
    two_backups,
    two_restores,
    two_migrations,
    one_photo_twice,
)


# The clock

LONG = timedelta(days=800)
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)


def clock_set_back(top: Path) -> Tally:
    """Signed, then signed and amended two years earlier, then in the present again: all kept, and said."""
    tally = Tally("records: sign, amend, draft", "clock set back")
    home = prepared(top / "clock", lambda home: None)

    def work() -> None:
        times = iter([NOW, NOW - LONG, NOW + timedelta(days=1)])
        for number, now in enumerate(times):
            with open_records(clock=lambda now=now: now) as records:  # type: ignore[misc]
                kept = keep_some(records)
                records.sign("treatment", kept.treatment.id, "Kim")
                records.amend("treatment", kept.treatment.id, replace(kept.treatment, area_m2=9.0), "Kim", "less")
                records.save_draft({"number": number})
                records.add_photo(KeptPhoto(kept.visit, records.store_photo(home / "shot.jpg")))
                records.add_client(Client(name="later"))

    stores.photo(home / "shot.jpg")
    expect(tally, at_once(tally, home, [work]), [0])

    def question(home: Path) -> list[Any]:
        with open_records() as records:
            found = check_records(records)
            rows = records.database.read("SELECT signed_at, note FROM signed ORDER BY sequence")
            times = [row["signed_at"] for row in rows]
            noted = [("earlier than the signature before" in row["note"]) for row in rows]
            back = [later < earlier for earlier, later in pairwise(times)]
            return [found.sound, found.signed, back.count(True), noted, len(records.recent_drafts())]

    expect(tally, ask(home, question), [True, 6, 1, [False, False, True, False, False, False], 3])
    shown = run(home, commands(["records", "show", "treatment", "2"], ["records", "check"]))
    tally.runs += 1
    expect(tally, (shown.status, "the clock was wrong" in " ".join(shown.out.split())), (0, True))
    done = commands(["backup", "b.zip", "--json"], ["restore", "b.zip", "--yes", "--json"], ["records", "check"])
    expect(tally, at_once(tally, home, [done]), [0])
    return tally


def clock_of_models(top: Path) -> Tally:
    """Models put in charge by a clock that jumps: the last is in charge, the one before is kept, undo finds it."""
    tally = Tally("promotion, undo", "clock set back")
    home = top / "models-home"
    home.mkdir(parents=True)

    def work() -> None:
        from training.registry import models as module

        registry = Registry(home / "models")
        made: list[str] = []
        for number in range(9):
            at = NOW + (-1) ** number * number * LONG
            module._now = lambda at=at: module.name_of(at)  # type: ignore[misc]
            source = stores.a_model(home / "source", f"model {number}")
            made.append(registry.install(source))
            registry.use(made[-1])
            shutil.rmtree(source)
            assert registry.in_charge().name == made[-1] and not registry.in_charge().note
            if number:
                assert registry.undo().name == made[-2] and registry.undo().name == made[-1]
        assert len(registry.history()) == 9 + 2 * 8

    expect(tally, at_once(tally, home, [work]), [0])
    return tally


def clock_of_the_collection(top: Path) -> Tally:
    """A label given by a clock that was set back is the later one all the same."""
    tally = Tally("collection: relabel, remove, add", "clock set back")
    home = prepared(top / "collection-home", stores.a_collection)

    def work() -> None:
        from training.collection import adding, plan, store

        collection = Collection(home / "collection").open()
        for number, label in enumerate(("poa_annua", "facelis_retusa", "soliva_sessilis")):
            early = f"{2020 - number}-01-01T00:00:00Z"
            store.now = plan.now = adding.now = lambda early=early: early  # type: ignore[misc, attr-defined]
            photo = collection.photos()[0].name
            if collection.label_of(photo) != label:
                collection.relabel(photo, label, "Kim")
            assert Collection(home / "collection").open().label_of(photo) == label
        stores._add()

    expect(tally, at_once(tally, home, [work]), [0])
    expect(tally, len([row for row in ask(home, stores.collected) if len(row) == 3]), 4)
    return tally


CLOCKS: tuple[Callable[[Path], Tally], ...] = (clock_set_back, clock_of_models, clock_of_the_collection)
