"""The user's collection of labelled photos: open it, add photos, list it, check it and decide on doubtful photos.

Libraries are imported within functions: pages and small commands start with this module.
"""

from __future__ import annotations

import getpass
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Collection as Collected
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from app.services.home import features_file, home
from model.errors import CollectionError, nearest

if TYPE_CHECKING:
    from model.finding import Finding
    from model.flora import Flora
    from training.audit import Decision, Report
    from training.audit.labels import Suspect
    from training.collection import Collection, Intake, Names, Outcome
    from training.data.manifest import LabelledPhoto

Progress = Callable[[int], None]


def own_collection(folder: Path | None = None) -> Collection:
    """The collection of this user, or one in another folder. Raises CollectionError where it cannot be read."""
    from training.collection import Collection

    return Collection(folder or home() / "collection").open()


def open_all(folder: Path | None) -> tuple[Collection, Names, Flora]:
    """The collection, the names of all plants, and the flora."""
    from app.services.knowledge import parsed_files
    from model.flora import load_flora
    from training.collection import Names

    with parsed_files() as files:
        flora = load_flora(read=files)
    collection = own_collection(folder)
    return collection, Names(flora, collection.own_species()), flora


def plants_of(collection: Collection, flora: Flora) -> dict[str, Any]:
    """All plants by their ids: the flora, and the user's own species."""
    return {**collection.own_species(), **flora.species}


def labelled_photos(collection: Collection) -> list[LabelledPhoto]:
    """The photos of the collection. Raises CollectionError where it holds none."""
    photos = collection.photos()
    if not photos:
        raise CollectionError(f"{collection.folder}: holds no photos; add some with swardkey collect add FOLDER")
    return photos


def labeller(by: str) -> str:
    """Who labels: as given, or the user of this machine."""
    if by:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


def plan_addition(
    source: Path, by: str = "", folder: Path | None = None, *, as_name: str = "", origin: str = "", creator: str = "",
    licence: Sequence[str] = (), allow_host: Sequence[str] = (), accept_new: bool = False, skip_unknown: bool = False,
    new_names: Sequence[str] = (), meant: Mapping[str, str] = MappingProxyType({}),
    progress: Progress = lambda done: None,
) -> tuple[Collection, Intake]:  # fmt: skip
    """The collection, and what adding a source to it would do; nothing is written.

    ``accept_new``: unknown names become species of the user's own, but for those near a known name that are not in
    ``new_names``; ``meant``: what a person says of names, as for plan_intake. Raises CollectionError.
    """
    from training.collection import Wishes, open_source, plan_intake

    if accept_new and skip_unknown:
        raise CollectionError("--accept-new and --skip-unknown exclude each other; give one")
    collection, names, _ = open_all(folder)
    wishes = Wishes(origin, creator, licence, allow_host, as_name)
    offered = open_source(source, wishes, lambda name: names.look_up(name) is not None)
    plan = plan_intake(
        offered, names, collection, labeller(by), accept_new=accept_new, skip_unknown=skip_unknown,
        near=names.near, new_names=new_names, meant=meant, progress=progress,
    )  # fmt: skip
    return collection, plan


def add_confirmed(photos: Sequence[Path], finding: Finding, by: str) -> Outcome:
    """Add the photos of a plant under its confirmed name, which a person agreed to. Raises CollectionError."""
    from training.collection import confirmed

    assert finding.species is not None
    return confirmed.add_confirmed(
        own_collection(), photos, finding.species, labeller(by), status=finding.status, agreed=True
    )


def contents(folder: Path | None, each: bool = False) -> dict[str, Any]:
    """What the collection holds, as plain data; ``each``: with every photo by name."""
    collection, _, flora = open_all(folder)
    plants, photos = plants_of(collection, flora), collection.photos()
    readable = Counter(photo.label for photo in photos if is_whole(photo.file))
    groups = Counter(label for label, _ in {(photo.label, photo.group) for photo in photos})
    species = {
        label: {
            "photos": count,
            "groups": groups[label],
            "readable": readable[label],
            "common_name": plants[label].common_name if label in plants else None,
            "own": label not in flora.species and label in plants,
        }
        for label, count in sorted(Counter(photo.label for photo in photos).items())
    }
    names = [{"photo": p.name, "species": p.label, "group": p.group if p.group_known else ""} for p in photos]
    return {
        "collection": str(collection.folder),
        "photos": len(photos),
        "species": species,
        "removed": collection.removed(),
        "without_row": [str(path) for path in collection.orphans()],
        "notes": collection.notes,
        **({"names": names} if each else {}),
    }


def is_whole(file: Path) -> bool:
    """Whether a stored photo is there from its first to its last byte."""
    try:
        with file.open("rb") as data:
            begins = data.read(3) == b"\xff\xd8\xff"
            data.seek(-2, 2)
            return begins and data.read(2) == b"\xff\xd9"
    except OSError:
        return False


def relabel(photo: str, species: str, by: str, folder: Path | None) -> dict[str, str]:
    """Give a photo another label; its name and its species. Raises CollectionError."""
    collection, names, _ = open_all(folder)
    found = names.look_up(species)
    if isinstance(found, list):
        raise CollectionError(f"{species}: may be {' or '.join(found)}; name one of them")
    if found is None:
        meant = names.near(species)
        remedy = f"did you mean {meant}?" if meant else "check the spelling"
        raise CollectionError(f"{species}: not in the key, nor a species of your own; {remedy}")
    row = collection.relabel(photo, found, labeller(by))
    return {"photo": row.photo, "species": row.species}


def checked(
    photos: Sequence[LabelledPhoto], with_starter: bool, wanted: Sequence[str], unlabelled: Path | None,
    watch: Callable[[str, int, int], None] = lambda stage, done, of: None,
) -> Report:  # fmt: skip
    """What is wrong with labelled photos, and which of those ``unlabelled`` to label next.

    ``with_starter``: judged by the shipped model's statistics too; ``watch`` is given the stage, and how many photos
    of how many are done. Raises CollectionError, PhotoError.
    """
    from model.photo.saved import STARTER, read_model
    from training.audit import check_photos, load_settings
    from training.data.features import features_of
    from training.data.labelled import photos_below
    from training.data.look import LOOKS, look_at
    from training.data.manifest import LabelledPhoto

    x, _ = features_of(photos, features_file(), lambda done, of: watch("features", done, of))
    others = None
    if unlabelled is not None:
        if not unlabelled.is_dir():
            raise CollectionError(f"--unlabelled {unlabelled}: no such folder; name one with photos")
        files = photos_below(unlabelled)
        if not files:
            raise CollectionError(f"--unlabelled {unlabelled}: holds no photos; name a folder with some")
        loose = [LabelledPhoto(f, str(f.relative_to(unlabelled)), "", str(f), False, "", "", "") for f in files]
        features, _ = features_of(loose, features_file(), lambda done, of: watch("unlabelled", done, of))
        others = ([photo.name for photo in loose], features)
    background, settings = read_model(STARTER)[0] if with_starter else None, load_settings()
    looks = look_at(
        photos, settings.quality.blur_side, lambda done: watch("looking", done, len(photos)),
        features_file().with_name(LOOKS),
    )  # fmt: skip
    return check_photos(photos, x, settings, background, wanted, others, looks)


def photos_to_check(
    collection: Collection, folder: Path | None, names: Names, plants: Mapping[str, Any], wanted: Sequence[str]
) -> list[LabelledPhoto]:
    """The photos of a folder, or else of the collection, once every name in ``wanted`` is a plant's."""
    from training.data.labelled import read_labelled

    for name in wanted:
        if name not in plants:
            raise CollectionError(
                f"--wanted {name}: is neither in the flora nor one of your own species; {nearest(name, plants)}"
            )
    if folder is None:
        return labelled_photos(collection)
    return read_labelled(folder, names, {name: str(plant.common_name) for name, plant in plants.items()})


def label_in_words(plants: Mapping[str, Any], label: str) -> str:
    """The common name of a label, or what it is outside the flora."""
    if label not in plants:
        return label.replace("other:", "outside the flora: ").replace("_", " ")
    return str(plants[label].common_name)


def both_names(plants: Mapping[str, Any], label: str) -> str:
    """The common and the scientific name of a label."""
    common = label_in_words(plants, label)
    scientific = str(plants[label].scientific_name) if label in plants else common
    return f"{common} ({scientific})" if common != scientific else common


def write_questions(
    report: Report, photos: Sequence[LabelledPhoto], plants: Mapping[str, Any], sheet: Path | None,
    decisions: Path | None,
) -> list[str]:  # fmt: skip
    """Write the photos that a person should decide on: a contact sheet, a file of decisions; a sentence on each."""
    from training.audit import write_decisions
    from training.audit.decisions import decided
    from training.audit.pages import write_pages
    from training.audit.sheet import Words, write_sheet

    words = Words(lambda label: both_names(plants, label), sorted({*plants, *report.labels.values()}))
    questions, written = report.questions(words.called), []
    where = {photo.name: photo.file for photo in photos}
    if decisions is not None:
        kept = write_decisions(decisions, questions)
        written.append(f"{decisions}: {len(questions)} photos to decide on, {kept} decided before")
    if sheet is not None and sheet.suffix.lower() == ".png":
        pages = write_pages(sheet, questions, where, words)
        span = f"{sheet}: {len(pages)} pages, {pages[0].name} to {pages[-1].name}" if pages else "no page is needed"
        written.append(span)
    elif sheet is not None:
        made = decided(decisions) if decisions is not None else {}
        write_sheet(sheet, questions, where, words, {photo: row["decision"] for photo, row in made.items()})
        written.append(f"{sheet}: the contact sheet; open it in a browser, decide, and save the decisions")
    return written


def accept_suggestions(
    collection: Collection, report: Report, least: float, species: Collected[str], by: str
) -> tuple[list[Suspect], int]:
    """Relabel photos whose likelier name has a probability of ``least`` or more; these, and how many are left.

    Left are those below it, and those whose likelier name is none that a photo of the collection may have: plants
    outside the flora that only the starter has learned. Raises CollectionError.
    """
    from training.audit import Decision

    may = {*species, *(photo.label for photo in collection.photos())}
    sure = [one for one in report.suspects if one.chance >= least and one.likelier in may]
    carry_out_all(collection, (Decision(one.photo, one.given, "relabel", one.likelier) for one in sure), by)
    return sure, len(report.suspects) - len(sure)


def apply_decisions(collection: Collection, file: Path, species: Sequence[str], by: str) -> dict[str, int]:
    """Carry out a file of decisions, all of it understood before anything is changed; how many of each kind."""
    from training.audit import read_decisions

    labels = {photo.name: photo.label for photo in collection.photos()}
    return carry_out_all(collection, read_decisions(file, {*species, *labels.values()}, labels), by)


def carry_out_all(collection: Collection, decisions: Iterable[Decision], by: str) -> dict[str, int]:
    """Carry out decisions that were checked; how many of each kind. Raises CollectionError."""
    done = {"keep": 0, "relabel": 0, "drop": 0}
    for decision in decisions:
        if decision.action == "relabel":
            collection.relabel(decision.photo, decision.species, labeller(by))
        elif decision.action == "drop":
            collection.remove(decision.photo, labeller(by))
        done[decision.action] += 1
    return done
