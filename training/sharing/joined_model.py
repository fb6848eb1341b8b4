"""A model that has learned from others: one's own files, what was joined, and the sum of them in its head.

    own-head.safetensors, own-model.json ...   the files of the model as it was before anything was joined
    shared-<giver>.safetensors                 what each gave, as it came
    head.safetensors, recipe.json ...          the sum, made of these anew whenever something is joined or taken out

Nothing is subtracted, so that what is taken out leaves no trace: of the last, the old files are back, byte for byte.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from model.errors import ModelError
from model.photo.evidence import Classifier
from model.photo.head import Statistics
from model.photo.saved import Description, read_arrays, read_description, save_model, unpacked
from model.photo.tuned import read_classifier
from training.head.conformal import FILE as SETS
from training.head.conformal import LacSets, save_sets
from training.registry.model_folder import MANIFEST, read_json
from training.registry.models import STARTER, Registry
from training.sharing.merge import Contribution, merge
from training.sharing.shared_file import Given, Header, Shared, read_shared
from training.sharing.sharing_rules import SharingRules

OWN, GIVEN = "own-", "shared-"
CHANGED = ("head.safetensors", "model.json", "recipe.json", "card.md", SETS)  # files that joining changes
LEFT = ("backbone.onnx",)  # of the starter, which every model shares
ENTRIES, ONTO = "shared", "joined_onto"  # in recipe.json: who gave what; the name of the model before


class Entry(BaseModel):
    """Who gave what, as recipe.json keeps it. ``left_out``: species that were not taken, with the reason."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str
    giver: str
    day: date
    licence: str
    note: str
    species: dict[str, Given]
    left_out: dict[str, str]
    weight: float
    most_photos: int
    sha256: str

    @classmethod
    def of(cls, shared: Shared, left_out: dict[str, str], rules: SharingRules) -> Entry:
        """The entry of a file that is being joined."""
        head: Header = shared.header
        return cls(
            name=name_of_giver(head.giver), giver=head.giver, day=head.day, licence=head.licence, note=head.note,
            species=head.species, left_out=left_out, weight=rules.weight, most_photos=rules.most_photos,
            sha256=sha256(shared.data).hexdigest(),
        )  # fmt: skip

    @property
    def taken(self) -> list[str]:
        """The species that were taken."""
        return [name for name in self.species if name not in self.left_out]


@dataclass(frozen=True)
class Gift:
    """A shared file with its entry."""

    entry: Entry
    shared: Shared

    @property
    def contribution(self) -> Contribution:
        """What of it is added up."""
        entry = self.entry
        return Contribution(
            entry.name, self.shared.statistics, set(entry.left_out), entry.weight, min(entry.most_photos, 10**6)
        )


@dataclass(frozen=True)
class JoinedModel:
    """A model taken apart: the ``own`` classifier as if nothing had been joined, its ``account``, and the ``gifts``.

    ``name`` and ``folder`` are those of the model as it is; ``onto`` is the name of the one before any joining.
    """

    name: str
    folder: Path
    onto: str
    own: Classifier
    account: dict[str, Any]
    gifts: tuple[Gift, ...]

    def with_gifts(self, classifier: Classifier, gifts: Sequence[Gift]) -> Classifier:
        """A classifier of this model's own, with ``gifts`` added to the statistics of its head."""
        return classifier.with_statistics(merge(classifier.statistics, [gift.contribution for gift in gifts]))


def name_of_giver(giver: str) -> str:
    """The name of what somebody gave, fit for the name of a file; whoever gives again replaces what they gave before.

    >>> name_of_giver("Zoë O'Hara, Lawns")
    'zoe-o-hara-lawns'
    """
    letters = unicodedata.normalize("NFKD", giver.casefold()).encode("ascii", "ignore").decode()
    short = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:60].strip("-")
    return short or sha256(giver.encode()).hexdigest()[:12]


def take_apart(name: str, folder: Path, rules: SharingRules) -> JoinedModel:
    """A model with what was joined apart. Raises ModelError naming the file that is wrong."""
    account, classifier = _account(folder / "recipe.json"), read_classifier(folder)
    if ENTRIES not in account:
        return JoinedModel(name, folder, name, classifier, account, ())
    try:
        entries = TypeAdapter(list[Entry]).validate_python(account[ENTRIES])
    except ValidationError:
        raise ModelError(f"{folder / 'recipe.json'}: does not say who gave what; use another model") from None
    own = classifier.with_statistics(_own_statistics(folder))
    gifts = tuple(Gift(entry, read_shared(folder / _file_of(entry), rules)) for entry in entries)
    return JoinedModel(name, folder, str(account.get(ONTO, name)), own, _account(folder / f"{OWN}recipe.json"), gifts)


def active_model(registry: Registry, rules: SharingRules) -> JoinedModel:
    """The active model with what was joined apart; where it cannot be read, the one that is used instead."""
    return registry.load(lambda folder: take_apart(folder.name, folder, rules))[0]


def write_own(model: JoinedModel, folder: Path) -> None:
    """Write the files of a model as they were before anything was joined to it."""
    folder.mkdir(parents=True)
    for file, name in _own_files(model).items():
        (folder / name).write_bytes(file.read_bytes())


def write_joined(model: JoinedModel, gifts: Sequence[Gift], sets: LacSets | None, folder: Path) -> None:
    """Write a model with ``gifts`` in place of those that it has; ``sets`` of it, where they were fitted."""
    folder.mkdir(parents=True)
    own_card = ""
    for file, name in _own_files(model).items():
        kept = f"{OWN}{name}" if name in CHANGED else name
        (folder / kept).write_bytes(file.read_bytes())
        own_card = file.read_text(encoding="utf-8") if name == "card.md" else own_card
    entries = [gift.entry for gift in gifts]
    for gift in gifts:
        (folder / _file_of(gift.entry)).write_bytes(gift.shared.data)
    whole = model.with_gifts(model.own, gifts)
    account = model.account | {ENTRIES: [entry.model_dump(mode="json") for entry in entries], ONTO: model.onto}
    save_model(folder, whole.statistics, whole.calibration, account, own_card + card_of(entries))
    if sets is not None:
        save_sets(folder, sets)


def card_of(entries: Sequence[Entry]) -> str:
    """What the card of a model says of those who gave."""
    lines = ["", "## Learned from others, by statistics that they shared", ""]
    lines += ["The figures above are those of the model before.", ""]
    for entry in entries:
        counts = ", ".join(f"{name} ({entry.species[name].photos} photos)" for name in entry.taken)
        lines.append(f"- {entry.giver}, {entry.day}, {entry.licence}: {counts}")
    return "\n".join([*lines, ""])


def _own_files(model: JoinedModel) -> dict[Path, str]:
    """The files of the model before any joining: where each lies, and what it was called."""
    files = [p for p in sorted(model.folder.iterdir()) if p.is_file() and not p.name.startswith((".", MANIFEST))]
    if model.onto == STARTER and model.name == STARTER:
        files = [p for p in files if p.name not in LEFT]
    if not model.gifts:
        return {p: p.name for p in files}
    kept = {p: p.name.removeprefix(OWN) for p in files if p.name.startswith(OWN)}
    return kept | {p: p.name for p in files if not p.name.startswith((OWN, GIVEN)) and p.name not in CHANGED}


def _file_of(entry: Entry) -> str:
    return f"{GIVEN}{name_of_giver(entry.name)}.safetensors"


def _own_statistics(folder: Path) -> Statistics:
    classes = read_description(folder / f"{OWN}model.json", Description, "a model").classes
    head = folder / f"{OWN}head.safetensors"
    return unpacked(head, read_arrays(head), tuple(classes))


def _account(file: Path) -> dict[str, Any]:
    """recipe.json; empty where it cannot be read, as of a model that somebody else made."""
    try:
        found = read_json(file)
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}
