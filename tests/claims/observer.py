"""A simulated observer and a simulated photo, to measure the claims of the key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from model.flora import Character, Score
from model.identify import Finding, Key, identify
from model.traits import Answers, Observer, Table, Visible, age, check_answer
from model.traits.likelihood import mistakes

Random = np.random.Generator


@dataclass(frozen=True)
class SimulatedObserver:
    """Answers from the species file; wrong and unsure with the given shares, of all questions.

    Wrong answers are those that people give: one state is taken for another as often as configs/observer.yaml says.
    ``visible`` are the parts that are there, by which plants are older or younger.
    """

    key: Key
    wrong: float = 0.10
    unsure: float = 0.10
    visible: Visible | None = None

    @property
    def observer(self) -> Observer:
        """The error model of this observer."""
        return self.key.likelihoods.observer

    def table(self, character: str) -> Table:
        """What plants of that age show."""
        return self.key.at(age(self.visible)).tables[character]

    def answer(self, species: str, character: Character, random: Random) -> object:
        """What this observer says of one plant of the species."""
        table = self.table(character.id)
        row = self.key.index[species]
        draw = random.random()
        # A part that the plant lacks cannot be answered.
        if draw < self.unsure or not table.applicable[row]:
            return "unsure"
        names = np.array(table.answers, dtype=object)
        if not table.known[row]:
            return random.choice(names)
        shows = int(random.choice(len(names), p=table.truth[row]))
        if draw >= self.unsure + self.wrong:
            return self._all(species, character, random) or names[shows]
        slips = mistakes(character, table.answers, self.observer)[shows].copy()
        slips[shows] = 0.0
        return random.choice(names, p=slips / slips.sum())

    def _all(self, species: str, character: Character, random: Random) -> list[str]:
        """All states that one plant shows at once, as half of the observers name them; else none."""
        score = self.key.flora.species[species].characters[character.id]
        if not isinstance(score, Score) or not score.together or random.random() < 0.5:
            return []
        if score.when is not None and self.observer.age[age(self.visible)][score.when] < 0.5:
            return []
        return [state for state, often in (score.states or {}).items() if often in ("always", "usually")]

    def likeliest(self, species: str, character: Character) -> object:
        """What a faultless observer says of a typical plant."""
        table = self.table(character.id)
        row = self.key.index[species]
        if not table.known[row] or not table.applicable[row]:
            return "unsure"
        return table.answers[int(table.truth[row].argmax())]


@dataclass(frozen=True)
class SimulatedPhoto:
    """Calibrated evidence over all species; satisfies model.identify.PhotoEvidence."""

    log_likelihood: dict[str, float]
    log_likelihood_other: float
    probabilities: dict[str, float]
    photos: tuple[Any, ...] = field(default=())


def simulated_photo(key: Key, species: str, top1: float, random: Random, within: int = 10) -> SimulatedPhoto:
    """A photo whose probabilities are calibrated, with first choice right in ``top1`` of cases.

    The true species takes a place in a ranking of ``within`` species drawn from its look-alikes
    and others; the ranking's probabilities are those of the places themselves.
    """
    ids = key.flora.ids
    near = [s for s in key.flora.look_alikes[species]][: within - 1]
    far = [s for s in ids if s != species and s not in near]
    others = [*near, *random.permutation(far)[: within - 1 - len(near)]]
    fall = 0.5 ** np.arange(within - 1)
    places = np.append(top1, (1 - top1) * fall / fall.sum())
    place = int(random.choice(within, p=places))
    ranked = [*random.permutation(others)[:place], species, *random.permutation(others)[place:]]
    seen: list[str] = []
    for name in [*ranked, *others]:
        if name not in seen:
            seen.append(str(name))
    floor = 0.02
    probabilities = {s: floor / len(ids) for s in ids}
    for name, share in zip(seen[:within], places, strict=True):
        probabilities[name] += (1 - floor) * float(share)
    logs = {s: float(np.log(p * len(ids))) for s, p in probabilities.items()}
    return SimulatedPhoto(logs, float(np.log(floor)), probabilities)


@dataclass(frozen=True)
class Session:
    """One simulated interview: how many questions, and how it ended."""

    species: str
    questions: int
    said: str | None
    reached: bool
    status: str
    ranks: tuple[str, ...]
    asked: tuple[str, ...] = ()


def interview(
    key: Key,
    species: str,
    say: Callable[[Character], object],
    photo: SimulatedPhoto | None = None,
    stop: float = 0.95,
    most: int = 25,
    region: str | None = None,
    month: int | None = None,
    visible: Visible | None = None,
) -> Session:
    """Ask until a species or `unlisted` reaches ``stop``, no question is left, or ``most`` were asked."""
    answers: Answers = {}
    while True:
        finding: Finding = identify(key, answers, photo, month, region, visible)
        lead = finding.candidates[0]
        reached = max(lead.probability, finding.unlisted_probability) >= stop
        question = finding.next_question
        if reached or question is None or len(answers) >= most:
            said = None if finding.unlisted_probability > lead.probability else lead.species
            ranks = tuple(c.species for c in finding.candidates)
            return Session(species, len(answers), said, reached, finding.status, ranks, tuple(answers))
        character = question.character
        answers = {**answers, character.id: check_answer(character, say(character))}
