"""Learning shared without photos, on open photos: is it as good as sharing the photos, and is what is wrong left out?

    python -m tests.claims.sharing PHOTOS [FEATURES.safetensors]

Ten species are taken out of the starter (its network and scatter have seen them, for both sides alike). Two people have
ten photos each of five of them. Named are up to EACH photos of each species in groups that nobody learned from, by: one
who starts from what is left of the starter and has joined the files of both; one of the two who has joined the file of
the other; and one who has the photos of both. Then what the screen makes of the files of one person, beside ten own
photos of each species: as they are, with the names of the species exchanged, and with a copy of one's own mean under
another name. Features take two cores six minutes the first time.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import OTHER
from model.photo.head import Discriminant, Statistics, fit_statistics
from model.photo.saved import STARTER, read_model
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto, read_manifest
from training.head.scatter import join
from training.sharing.give import give
from training.sharing.merge import Contribution, merge
from training.sharing.screen import Screen
from training.sharing.shared_file import unpack_shared
from training.sharing.sharing_rules import SharingRules, load_sharing_rules

EACH, SHOTS, DRAWS, SPECIES = 60, 10, 5, 10
MARGIN = 0.02  # what joining may lose against having the photos: the goal


@dataclass(frozen=True)
class Named:
    """Shares of photos named right, species by species alike: with the photos, and by what was shared."""

    with_photos: float
    both_joined: float
    one_joined: float


def some(folder: Path, species: int, each: int) -> list[LabelledPhoto]:
    """Up to ``each`` photos of the first ``species`` species, the same every time."""
    rows = sorted(read_manifest(folder), key=lambda p: hashlib.sha256(p.name.encode()).hexdigest())
    names = sorted({row.label for row in rows if not row.label.startswith(OTHER)})[:species]
    return [row for name in names for row in [r for r in rows if r.label == name][:each]]


def data_of(photos: Sequence[LabelledPhoto], cache: Path | None) -> Data:
    """Their features."""
    x, notes = features_of(photos, cache, _progress)
    data = Data(x, tuple(photos), np.full(len(photos), "fit"))
    return data.where(np.array([not note for note in notes]))


def dealt(data: Data, shots: int, seed: int) -> tuple[Data, Data]:
    """``shots`` photos of each species, and those of all groups that are not among them."""
    chance, labels, taken = np.random.default_rng(seed), np.array(data.labels), list[int]()
    for name in sorted(set(data.labels)):
        taken += chance.permutation(np.flatnonzero(labels == name))[:shots].tolist()
    learn = np.isin(np.arange(len(labels)), taken)
    groups = {group for group, used in zip(data.groups, learn, strict=True) if used}
    return data.where(learn), data.where(np.array([group not in groups for group in data.groups]))


def base_without(species: Sequence[str]) -> tuple[Statistics, float]:
    """The starter without some of its species, and its shrinkage; the scatter stays, for it cannot be divided."""
    starter, calibration = read_model(STARTER)
    keep = [row for row, name in enumerate(starter.classes) if name not in species]
    classes = tuple(starter.classes[row] for row in keep)
    return Statistics(classes, starter.counts[keep], starter.means[keep], starter.scatter), calibration.shrinkage


def contribution(data: Data, giver: str, rules: SharingRules) -> Contribution:
    """What somebody with these photos gives, through a file and back."""
    whole = rules.model_copy(update={"least_groups": 1})  # photos of one photographer are many of some species
    _, packed = give(data, set(data.labels), whole, giver=giver, day=date(2026, 11, 30), licence="CC0")
    return Contribution(giver, unpack_shared(packed, whole).statistics, (), rules.weight, rules.most_photos)


def right(statistics: Statistics, shrinkage: float, data: Data) -> float:
    """Share of photos named right, species by species alike."""
    head = Discriminant(statistics, shrinkage)
    hit = np.array(head.classes)[head.scores(data.x).argmax(axis=1)] == np.array(data.labels)
    return float(np.mean([hit[np.array(data.labels) == name].mean() for name in sorted(set(data.labels))]))


def name_all(data: Data, shots: int, seed: int, rules: SharingRules) -> Named:
    """One draw: ``shots`` photos of each species, half of the species with each of two people."""
    learn, test = dealt(data, shots, seed)
    species = np.random.default_rng(seed).permutation(sorted(set(data.labels)))
    first = np.isin(learn.labels, species[: len(species) // 2])
    one, two = learn.where(first), learn.where(~first)
    base, shrinkage = base_without(list(species))
    gifts = [contribution(one, "one", rules), contribution(two, "two", rules)]
    own = join(base, fit_statistics(one.x, one.labels), 1.0)
    return Named(
        right(join(base, fit_statistics(learn.x, learn.labels), 1.0), shrinkage, test),
        right(merge(base, gifts), shrinkage, test),
        right(merge(own, gifts[1:]), shrinkage, test),
    )


def screened(data: Data, shots: int, seed: int, rules: SharingRules) -> dict[str, NDArray[np.bool_]]:
    """Whether each species of a file is left out: as it is, under exchanged names, and as a copy under a new one."""
    own, rest = dealt(data, shots, seed)
    given, _ = dealt(rest, shots, seed)
    base, shrinkage = base_without(sorted(set(data.labels)))
    mine = fit_statistics(own.x, own.labels)
    known = {*data.labels, "a_new_one"}
    screen = Screen(join(base, mine, 1.0), shrinkage, {"your own photos": mine}, known, rules)
    file = contribution(given, "one", rules).statistics
    moved = Statistics(tuple(np.roll(file.classes, 1)), file.counts, file.means, file.scatter)
    found = {
        "as they are": _left_out(screen, file),
        "names of species exchanged": _left_out(screen, moved),
    }
    copies = []
    for row in range(len(mine.classes)):
        means = mine.means[row : row + 1]
        copies.append(_left_out(screen, Statistics(("a_new_one",), mine.counts[row : row + 1], means, mine.scatter)))
    return found | {"a copy under a new name": np.concatenate(copies)}


def _left_out(screen: Screen, given: Statistics) -> NDArray[np.bool_]:
    left = screen.left_out(given)
    return np.array([name in left for name in given.classes])


def _progress(done: int, of: int) -> None:
    if done % 100 == 0 or done == of:
        sys.stderr.write(f"\rfeatures {done} of {of}" + ("\n" if done == of else ""))


def main(arguments: list[str]) -> int:
    """PHOTOS [FEATURES]: print the two tables; exit status 1 where joining loses more than MARGIN."""
    if len(arguments) not in (1, 2):
        sys.stderr.write("usage: python -m tests.claims.sharing PHOTOS [FEATURES.safetensors]\n")
        return 2
    rules = load_sharing_rules()
    data = data_of(some(Path(arguments[0]), SPECIES, EACH), Path(arguments[1]) if len(arguments) == 2 else None)
    found = [name_all(data, SHOTS, seed, rules) for seed in range(DRAWS)]
    means = [float(np.mean([getattr(one, name) for one in found])) for name in Named.__dataclass_fields__]
    print(f"{SPECIES} species, {SHOTS} photos of each, {DRAWS} draws, {len(data.photos)} photos in all\n")
    print("| who | named right |\n|---|---|")
    for who, mean in zip(("has all photos", "joined two files", "has half, joined the other"), means, strict=True):
        print(f"| {who} | {mean:.1%} |")
    tables = [screened(data, SHOTS, seed, rules) for seed in range(DRAWS)]
    print("\n| species of a file | left out |\n|---|---|")
    for what in tables[0]:
        shares = np.concatenate([table[what] for table in tables])
        print(f"| {what} | {shares.sum()} of {len(shares)} |")
    return int(min(means[1:]) < means[0] - MARGIN)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
