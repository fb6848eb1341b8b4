"""What the key makes of plants that are not in its flora, measured.

Run ``python -m tests.claims.outside [PLANTS]`` to print the tables. A plant is asked about until it is confirmed, until
`unlisted` reaches 0.95, or until no question is left, 25 at most.

Kinds of plants: ``listed``, drawn from the species files, and, for comparison, answered by a careful observer
(3 % wrong, 3 % unsure; else 10 and 10); ``one left out``, each species in turn gone from the flora, its close kin
still there; ``kin left out``, its look-alikes gone with it; ``flower of another``, the flowers and fruits of one
species on the leaves and stems of another; ``garden``, real plants as answered from memory (outside_plants.yaml).
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from model.flora.character import Character
from model.flora.load import Flora, read_mapping
from model.identify import Key, identify
from model.traits import Answers, check_answer, check_answers
from tests.claims.observer import SimulatedObserver

SEED = 20261126
GARDEN = Path(__file__).with_name("outside_plants.yaml")
STATUSES = ("confirmed", "likely", "undecided", "unlisted")
Say = Callable[[Character], object]
Plant = tuple[Key, str, Say]  # the key it is asked with, its own name, and how it is answered for


@dataclass(frozen=True)
class Asked:
    """How one plant ended."""

    plant: str
    status: str
    named: str | None
    questions: int


def without(key: Key, left_out: set[str]) -> Key:
    """The key of a flora that lacks some species."""
    kept = {
        s: plant.model_copy(update={"look_alikes": [o for o in plant.look_alikes if o.species not in left_out]})
        for s, plant in key.flora.species.items()
        if s not in left_out
    }
    smaller = Key.__new__(Key)
    smaller.flora = Flora(kept, key.flora.characters, key.flora.sources)
    smaller._observer, smaller._aged = key.likelihoods.observer, {}
    smaller.prior_config = key.prior_config
    return smaller


def heedless(key: Key) -> Key:
    """The same key, with hardly any prior probability of an unlisted relative."""
    other = without(key, set())
    other.prior_config = key.prior_config.model_copy(update={"relatives": 1e-9})
    other._aged = key._aged  # of the same flora
    return other


def ask(plants: Iterable[Plant], most: int = 25) -> list[Asked]:
    """Ask about each plant to the end."""
    found = []
    for key, name, say in plants:
        answers: Answers = {}
        while True:
            finding = identify(key, answers)
            question = finding.next_question
            if question is None or finding.unlisted_probability >= 0.95 or len(answers) >= most:
                found.append(Asked(name, finding.status, finding.species, len(answers)))
                break
            character = question.character
            answers = {**answers, character.id: check_answer(character, say(character))}
    return found


def listed(key: Key, count: int, share: float = 0.10) -> Iterator[Plant]:
    """Plants of the flora, one after the other; ``share`` of the answers wrong, and as many unsure."""
    observer, random = SimulatedObserver(key, share, share), np.random.default_rng(SEED)
    for i in range(count):
        name = key.flora.ids[i % len(key.flora.ids)]
        yield key, name, lambda character, name=name: observer.answer(name, character, random)


def left_out(key: Key, count: int, kin: bool) -> Iterator[Plant]:
    """Plants of species that the flora has lost, alone or with their look-alikes."""
    observer, random = SimulatedObserver(key), np.random.default_rng(SEED)
    for i in range(count):
        name = key.flora.ids[i % len(key.flora.ids)]
        gone = {name, *(key.flora.look_alikes[name] if kin else ())}
        yield without(key, gone), name, lambda character, name=name: observer.answer(name, character, random)


def flower_of_another(key: Key, count: int) -> Iterator[Plant]:
    """Plants put together from two species."""
    observer, random = SimulatedObserver(key), np.random.default_rng(SEED)
    for _ in range(count):
        flower, leaf = (str(s) for s in random.choice(np.array(key.flora.ids), 2, replace=False))

        def say(character: Character, flower: str = flower, leaf: str = leaf) -> object:
            return observer.answer(flower if character.part in ("flowers", "seeds") else leaf, character, random)

        yield key, f"{flower} on {leaf}", say


def garden(key: Key) -> Iterator[Plant]:
    """Real plants that are not in the flora, answered without a mistake."""
    for name, shown in read_mapping(GARDEN).items():
        check_answers(key.flora.characters, shown)
        yield key, name, lambda character, shown=shown: shown.get(character.id, "unsure")


def shared_with_nearest(key: Key) -> float:
    """What a species shares with the nearest one of its flora: the likeliest ``alike``, in steps of 0.05.

    Nearest is the species under which what it shows is most likely.
    """
    steps = np.arange(0.05, 1.0, 0.05)
    total = np.zeros(len(steps))
    for row in range(len(key.flora.ids)):
        tables = [t for t in key.likelihoods.tables.values() if t.known[row] and t.applicable[row]]
        fit = sum(np.log(t.rows[:-1]) @ t.rows[row] for t in tables)
        fit[row] = -np.inf
        near = int(fit.argmax())
        for table in tables:
            if table.known[near] and table.applicable[near]:
                mixed = steps[:, None] * table.rows[near] + (1 - steps[:, None]) * table.rows[-1]
                total += np.log(mixed) @ table.rows[row]
    return float(steps[int(total.argmax())])


def line(kind: str, found: list[Asked]) -> str:
    """One row of the table."""
    ended = Counter(one.status for one in found)
    shares = " | ".join(f"{ended[status] / len(found):.1%}" for status in STATUSES)
    right = sum(one.named == one.plant for one in found if one.status == "confirmed")
    share = f"{right / ended['confirmed']:.1%}" if kind.startswith("listed") and ended["confirmed"] else "-"
    asked = np.mean([one.questions for one in found])
    return f"| {kind} | {len(found)} | {shares} | {share} | {asked:.1f} |"


def table(key: Key, count: int) -> list[str]:
    """The rows of one table."""
    return [
        line("listed", ask(listed(key, count))),
        line("listed, careful", ask(listed(key, count, 0.03))),
        line("one left out", ask(left_out(key, count, kin=False))),
        line("kin left out", ask(left_out(key, count, kin=True))),
        line("flower of another", ask(flower_of_another(key, count))),
        line("garden", ask(garden(key))),
    ]


def main(count: int = 412) -> None:
    """Print the tables of claims."""
    key = Key()
    print(f"What a species shares with the nearest one: {shared_with_nearest(key):.2f} of its characters")
    for title, used in (("Without relatives outside the flora:", heedless(key)), ("With them:", key)):
        print(f"\n{title}\n")
        print("| plants | number | confirmed | likely | undecided | unlisted | right of confirmed | questions |")
        print("|---|---|---|---|---|---|---|---|")
        print("\n".join(table(used, count)), flush=True)
    named = [f"{one.plant} as {one.named}" for one in ask(garden(key)) if one.status == "confirmed"]
    print(f"\nGarden plants that are still confirmed: {', '.join(named) or 'none'}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 412)
