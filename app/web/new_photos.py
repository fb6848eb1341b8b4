"""Uploads to the collection: photos wait in a folder of their own until a person has said which species they show."""

from __future__ import annotations

import itertools
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.services.collection import label_in_words, plan_addition
from app.services.home import home
from app.web.draft import ID, new_id
from app.web.frame import Address, Fault, Fields, FormError, fault, one
from app.web.model_words import with_names
from app.web.uploads import remove_upload
from model.errors import SwardkeyError
from model.text import counted

if TYPE_CHECKING:
    from training.collection import Collection, Intake, Outcome

MOST_SAID = 5  # photos that are set aside, each with its reason; the rest are counted
MOST_ASKED = 200  # names of one source
NEW, LEAVE_OUT = "new", "leave"
Called = Callable[[str], str]


@dataclass(frozen=True)
class Doubt:
    """A name in the upload that is unknown or ambiguous: the number of its photos, and the species it may mean."""

    name: str
    photos: int
    near: tuple[str, ...]


@dataclass(frozen=True)
class Waiting:
    """What waits under a token: single photos by their names, or what is still to be asked of a source.

    ``given``: the name that a person gave to all single photos; ``going_in``: photos by species whose name is known.
    """

    token: str
    photos: tuple[str, ...] = ()
    title: str = ""
    given: str = ""
    going_in: Mapping[str, int] | None = None
    doubts: tuple[Doubt, ...] = ()


def waiting_folder(token: str) -> Path:
    """The folder of an upload that waits. Raises FormError where the token is malformed."""
    if not ID.fullmatch(token):
        raise FormError("These photos are no longer here; choose them again.")
    return home() / "uploads" / "waiting" / token


def pending(address: Address) -> list[str]:
    """The names of files that wait for their species."""
    token = address.get("pending", "")
    try:
        return sorted(file.name for file in waiting_folder(token).iterdir()) if token else []
    except (OSError, SwardkeyError):
        return []


def waiting(address: Address) -> Waiting | None:
    """The upload that an address names, and the names to ask about; None where there is none."""
    files = pending(address)
    if not files:
        return None
    token, given = address["pending"], address.get("as", "")
    source = _source(token, files)
    if source.is_dir() and not given:
        return Waiting(token, photos=tuple(files))
    try:
        _, plan = plan_addition(source, as_name=given)
    except SwardkeyError:  # it could be planned when it came; whoever goes on is told what is wrong
        return Waiting(token, photos=tuple(files))
    title = counted(len(files), "photo") if source.is_dir() else source.name
    tallies = {label: tally.photos for label, tally in plan.to_add.items()}
    return Waiting(token, tuple(files), title, given, tallies, doubts(plan))


def doubts(plan: Intake) -> tuple[Doubt, ...]:
    """The unknown and ambiguous names of a plan, the one with the most photos first."""
    found = [
        Doubt(name, count, tuple(re.findall(r"\((\w+)\)", plan.near.get(name, ""))))
        for name, count in plan.unknown_names.items()
    ]
    found += [Doubt(name, plan.ambiguous_photos[name], tuple(few)) for name, few in plan.ambiguous.items()]
    return tuple(sorted(found, key=lambda doubt: (-doubt.photos, doubt.name)))


def take_files(plants: Mapping[str, Any], files: Sequence[Path]) -> tuple[Address, list[str]]:
    """Take uploads in. Single photos wait for their name; a zip waits only where one of its names is not known."""
    called = name_of_label(plants)
    archives = [file for file in files if file.suffix.lower() == ".zip"]
    photos = [file for file in files if file not in archives]
    address: Address = {"pending": _hold(photos)} if photos else {}
    notices: list[str] = []
    for file in archives:
        try:
            collection, plan = plan_addition(file)
            if plan.acceptable:
                notices += outcome_notices(collection.add(plan), called)
            elif len(doubts(plan)) > MOST_ASKED:
                few = "name its folders after weeds, and zip them again"
                notices.append(Fault(f"{file.name}: over {MOST_ASKED} of its names are not on file; {few}."))
            elif address:
                notices.append(Fault(f"{file.name} was not taken: finish with these first, then choose it again."))
            else:
                address = {"pending": _hold([file])}
        except SwardkeyError as error:
            notices.append(fault(for_the_page(str(error).replace(str(file), file.name), called)))
        finally:
            remove_upload(file)
    return address, notices


def _hold(files: Sequence[Path]) -> str:
    """Move files to where they wait; the token of the place."""
    token = new_id()
    folder = waiting_folder(token)
    folder.mkdir(parents=True)
    for file in files:
        # Phones give all photos one name.
        numbered = (f"{file.stem}-{number}{file.suffix}" for number in itertools.count(2))
        name = next(name for name in itertools.chain([file.name], numbered) if not (folder / name).exists())
        shutil.move(file, folder / name)
        remove_upload(file)
    return token


def _source(token: str, files: Sequence[str]) -> Path:
    """The zip that waits, or the folder of single photos."""
    zips = [name for name in files if name.lower().endswith(".zip")]
    return waiting_folder(token) / zips[0] if zips else waiting_folder(token)


def discard(address: Address) -> None:
    """Delete what waits."""
    shutil.rmtree(waiting_folder(address.get("pending", "")), ignore_errors=True)


def add(address: Address, fields: Fields, plants: Mapping[str, Any]) -> tuple[Address, list[str]]:
    """Add what waits, under the names that the form gives; where to go on, and what to say. Raises FormError."""
    called = name_of_label(plants)
    token, files = address.get("pending", ""), pending(address)
    if not files:
        raise FormError("These photos are no longer here; choose them again.")
    source, given = _source(token, files), one(fields, "species") or address.get("as", "")
    if source.is_dir() and not given:
        raise FormError("Say what the photos show first.")
    as_name = given if source.is_dir() else ""

    def planned(**answers: Any) -> tuple[Collection, Intake]:
        try:
            return plan_addition(source, one(fields, "by"), as_name=as_name, **answers)
        except SwardkeyError as error:
            raise FormError(for_the_page(str(error).replace(f"{source.parent}/", ""), called)) from None

    collection, plan = planned()
    if not plan.acceptable and one(fields, "name-0"):
        meant, new = answers(fields, doubts(plan), plants)
        collection, plan = planned(meant=meant, new_names=new)
    if not plan.acceptable:
        return {"pending": token, **({"as": given} if as_name else {})}, []
    outcome = collection.add(plan)
    discard(address)
    return {}, outcome_notices(outcome, called)


def answers(fields: Fields, asked: Sequence[Doubt], plants: Mapping[str, Any]) -> tuple[dict[str, str], list[str]]:
    """The species of each name that was asked about, "" to leave it out; and which are new. Raises FormError."""
    meant: dict[str, str] = {}
    new: list[str] = []
    for number, doubt in enumerate(asked):
        answer = one(fields, f"other-{number}") or one(fields, f"means-{number}")
        is_same = one(fields, f"name-{number}") == doubt.name.strip()
        if not is_same or (answer and answer not in (NEW, LEAVE_OUT, *plants)):
            raise FormError("The names had changed since this page was loaded; they are up to date now.")
        if not answer:
            raise FormError(f'"{doubt.name[:60]}": say which weed it is, or leave its photos out.')
        if answer == NEW:
            new.append(doubt.name)
        else:
            meant[doubt.name] = "" if answer == LEAVE_OUT else answer
    return meant, new


def outcome_notices(outcome: Outcome, called: Called) -> list[str]:
    """The outcome of an addition in sentences; each refused photo is a fault with its reason."""
    several = ", ".join(f"{called(label)} {count}" for label, count in outcome.species.items())
    lines = [f"{counted(outcome.added, 'photo')} added{f': {several}' if several else ''}."]
    if outcome.known_already:
        lines.append(f"{counted(outcome.known_already, 'photo')} already there.")
    if not outcome.added and not outcome.known_already:
        lines = []
    notices = [" ".join(lines)] if lines else []
    for refusal in outcome.refused[:MOST_SAID]:
        notices.append(Fault(f"Set aside: {refusal.file}: {for_the_page(refusal.why, called).rstrip('.')}."))
    if more := len(outcome.refused[MOST_SAID:]) + outcome.refused_more:
        notices.append(Fault(f"{counted(more, 'photo')} more set aside."))
    return notices or [Fault("No photos in it. Choose photos, or a zip of folders named after weeds.")]


def for_the_page(text: str, called: Called) -> str:
    """A message of the collection for the pages: species by common name, without commands and folders."""
    text = re.sub(r"; to change that, run collect relabel.*", "", text)
    text = text.replace("or name the species with --as", "or add it here by itself")
    text = text.replace("or train with --recipe quick", "or train without the second network")
    text = text.replace(f"{home()}/", "")
    return with_names(text, called)


def name_of_label(plants: Mapping[str, Any]) -> Called:
    """A function from a label to its common name, or to what it is outside the flora."""
    return partial(label_in_words, plants)
