"""How sure a name is and why, for people who do not know plants: for the advice sheet and the job sheet."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from app.present.block import Block, Paragraph, Section, Table, bullets, capital
from app.present.finding import AGAINST, FOR, LEAST_NAMED, question_and_answer, share, status_text
from model.flora.character import PARTS
from model.identify import Finding, Key
from model.proof import unseparated
from model.traits import Answers, Likelihoods, Visible, age, in_sight, out_of_sight

GIVEN = "given"  # the status of a name that a person gave, without the key
REASONS, LOOK_ALIKES = 5, 4  # how many of each are shown, the most telling first
AT_MOST = 3  # others that an undecided plant may still be


@dataclass(frozen=True)
class Naming:
    """How a plant got its name. ``status`` as in a Finding, or GIVEN.

    ``confirmed_by``: who looked at it and said so. ``also``: what an undecided plant may be as well. ``visible``: the
    parts that could be seen, None where that was not given; answers on others are not counted.
    """

    species: str
    status: str = GIVEN
    probability: float | None = None
    answers: Answers = field(default_factory=dict)
    confirmed_by: str = ""
    also: tuple[str, ...] = ()
    visible: Visible | None = None

    @classmethod
    def of(cls, finding: Finding, answers: Answers, confirmed_by: str = "") -> Naming:
        """From a Finding; where it names no plant, the one in front stands for it."""
        lead, *others = finding.candidates
        chances = {candidate.species: candidate.probability for candidate in others}
        also = still_possible(chances) if finding.status == "undecided" else ()
        # A Finding shows all parts where that was not given; a plant of no particular age is then what is meant.
        visible = finding.visible if finding.visible != PARTS else None
        return cls(lead.species, finding.status, lead.probability, answers, confirmed_by, also, visible)

    def among(self, shortlist: Iterable[str]) -> Naming:
        """The same, where a plan is made for a shortlist: all of it is still possible, whatever the answers say."""
        return replace(self, also=tuple(dict.fromkeys(s for s in (*self.also, *shortlist) if s != self.species)))

    def counted(self, key: Key) -> Answers:
        """The answers on parts that could be seen, in their order."""
        return in_sight(self.answers, out_of_sight(key.flora.characters, self.visible))

    def likelihoods(self, key: Key) -> Likelihoods:
        """What plants of this age show."""
        return key.at(age(self.visible))


def still_possible(chances: Mapping[str, float]) -> tuple[str, ...]:
    """Those likely enough to be planned for, the likeliest first.

    >>> still_possible({"a": 0.2, "b": 0.3, "c": 0.09})
    ('b', 'a')
    """
    likely = [species for species, chance in chances.items() if chance >= LEAST_NAMED]
    return tuple(sorted(likely, key=lambda species: -chances[species])[:AT_MOST])


def how_sure(naming: Naming, key: Key) -> str:
    """How far the name is proven, in a few sentences: what a person confirmed comes before what answers show."""
    name = key.flora.species[naming.species].common_name
    by = f" {naming.confirmed_by} looked at it and confirmed the name." if naming.confirmed_by else ""
    chance = f", {share(naming.probability)}" if naming.probability is not None else ""
    if by and naming.status not in (GIVEN, "confirmed"):
        alone = f" The photos and answers alone gave {name}{chance}." if chance else ""
        return f"{by.strip()}{alone}"
    if naming.status == GIVEN:
        given = "names were given" if naming.also else "name was given"
        return (by or f" The {given} by the person who saw the plant; no characters were recorded here.").strip()
    in_front = {"undecided": f" The leading candidate is {name}{chance}.", "unlisted": f" The nearest is {name}."}
    probability = naming.probability if naming.status != "unlisted" else None
    return f"{status_text(naming.status, name, probability)}{in_front.get(naming.status, '')}{by}"


def seen(naming: Naming, key: Key) -> list[str]:
    """What was seen that fits the name, the most telling first: the question, and the answer."""
    row, tables = key.index[naming.species], naming.likelihoods(key).tables
    ratios = {}
    for character, answer in naming.counted(key).items():
        table = tables[character]
        if table.verdict(answer, row) == "agrees":
            chances = table.likelihood(answer)
            ratios[character] = chances[row] / chances[-1]
    best = sorted(ratios, key=lambda c: -ratios[c])[:REASONS]
    return [question_and_answer(key, c, naming.answers[c]) for c in best]


def against(naming: Naming, key: Key) -> list[str]:
    """What was seen that does not fit the name."""
    row, tables = key.index[naming.species], naming.likelihoods(key).tables
    odd = [c for c, answer in naming.counted(key).items() if tables[c].verdict(answer, row) == "disagrees"]
    return [question_and_answer(key, c, naming.answers[c]) for c in odd]


def mistaken_for(naming: Naming, key: Key) -> list[tuple[str, str, bool]]:
    """Plants that this one is mistaken for: name, how to tell them apart, and whether it is ruled out; these last."""
    row = key.index[naming.species]
    open_rows = set(unseparated(naming.likelihoods(key), key.flora, naming.counted(key), row))
    open_rows |= {key.index[species] for species in naming.also}
    found = []
    for other in key.flora.look_alikes[naming.species]:
        entry = key.flora.look_alike(naming.species, other)
        if entry is not None:
            found.append((key.flora.species[other].common_name, entry.note, key.index[other] not in open_rows))
    return sorted(found, key=lambda one: one[2])


def what_it_is(naming: Naming, key: Key, apart: Collection[str] = ()) -> Section:
    """How sure the name is, what was seen, and what it is mistaken for, but for ``apart``, shown elsewhere."""
    blocks: list[Block] = [Paragraph((how_sure(naming, key),))]
    for title, lines in (
        (f"{FOR}:", seen(naming, key)),
        (f"{AGAINST}:", against(naming, key)),
    ):
        if lines:
            blocks += [Paragraph((title,)), *bullets(lines)]
    others = [one for one in mistaken_for(naming, key) if one[0] not in _names(apart, key)]
    shown, rest = others[:LOOK_ALIKES], others[LOOK_ALIKES:]
    answered = any(value != () for value in naming.answers.values())
    if shown:
        rows = [("Often mistaken for", "How to tell them apart", "Ruled out")]
        rows += [(name, capital(note), "yes" if out else "not yet") for name, note, out in shown]
        # Nothing is ruled out by characters that nobody looked at.
        columns, widths = (3, (0.20, 0.68, 0.12)) if answered else (2, (0.20, 0.80, 0.0))
        head, *body = (row[:columns] for row in rows)
        blocks.append(Table(tuple(body), head, widths[:columns]))
    if rest and answered and all(out for *_, out in rest):
        blocks.append(Paragraph((f"Also ruled out: {', '.join(name for name, *_ in rest)}.",), "small"))
    return Section("What it is", tuple(blocks))


def look_again(naming: Naming, key: Key, apart: Collection[str] = ()) -> Section:
    """How sure the name is, and what to check before work starts."""
    open_ones = [(name, note) for name, note, out in mistaken_for(naming, key) if not out]
    lines = [f"{name}: {capital(note)}" for name, note in open_ones if name not in _names(apart, key)][:LOOK_ALIKES]
    blocks: list[Block] = [Paragraph((how_sure(naming, key),))]
    if lines:
        blocks += [Paragraph(("Before you start, look again: it is often mistaken for",)), *bullets(lines)]
    return Section("What it is", tuple(blocks))


def _names(species: Iterable[str], key: Key) -> set[str]:
    return {key.flora.species[one].common_name for one in species}
