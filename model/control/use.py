"""Whether actives may be used in a case: the one judgement shared by plan, spray window, papers and records.

use = Use(("2,4-D",), month=12, lawn="couch", state="TAS")
suited_of(judge_use(control, use))   # "no": banned from 15 September to 15 April
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from model.control.case import LabelRead
from model.control.facts import Active, Near, Place, Rating, Registration, Response
from model.control.knowledge import Control
from model.flora.species import Fact, Standing
from model.text import day_text

Suited = Literal["yes", "wait", "no"]
How = Literal["spray", "wipe", "soil"]
WORST: dict[Suited, int] = {"yes": 0, "wait": 1, "no": 2}


@dataclass(frozen=True)
class Reason:
    """A reason for or against an option, in a sentence with its standing.

    ``factor``: what was judged. ``more``: a further sentence. ``weight``: of a reason that is not against, whether it
    calls for care, or something could not be judged because it was not given (open).
    """

    suited: Suited
    text: str
    standing: Standing | Literal["by the label"] = "common practice"
    source: tuple[str, ...] = ("CP",)
    factor: str = "season"
    more: str = ""
    weight: Literal["fine", "care", "open"] = "fine"

    @property
    def whole(self) -> str:
        """The sentence, and the further one."""
        return f"{self.text} {self.more}".strip()


@dataclass(frozen=True)
class Use:
    """Actives that are used together, and all that decides whether they may be.

    ``how``: sprayed on leaves, wiped onto single plants, or applied to the soil. ``blooming``: the weed may be in
    flower. ``used``: groups by mode of action used here before. None means not given.
    """

    actives: tuple[str, ...]
    how: How = "spray"
    lawn: str | None = None
    cultivar: str | None = None
    place: Place = "lawn"
    month: int | None = None
    state: str | None = None
    near: tuple[Near, ...] = ()
    blooming: bool = False
    used: tuple[int, ...] = ()
    labels: tuple[LabelRead, ...] = ()

    def with_cultivar(self, cultivar: str | None) -> Use:
        """The same on a cultivar of the lawn."""
        return replace(self, cultivar=cultivar)

    def label(self, active: str) -> LabelRead | None:
        """The latest label that the user read for an active on this lawn."""
        read = [label for label in self.labels if label.covers(active, self.lawn)]
        return max(read, key=lambda label: label.on, default=None)


def judge_use(control: Control, use: Use) -> tuple[Reason, ...]:
    """Every reason for and against, for every active: a mix is as strict as its strictest part."""
    actives = [(name, control.actives[name]) for name in use.actives]
    found = [reason for rule in RULES for name, active in actives for reason in rule(control, use, name, active)]
    return tuple(dict.fromkeys(found))


def suited_of(reasons: Iterable[Reason]) -> Suited:
    """The overall judgement: the worst reason decides."""
    return max((reason.suited for reason in reasons), key=lambda suited: WORST[suited], default="yes")


def rating_of(control: Control, use: Use, active: str) -> Rating:
    """How the lawn tolerates an active; unknown where nothing is known, caution where it is safe from memory only."""
    lawn = use.lawn or "unknown"
    found = control.rating(active, lawn, use.cultivar)
    if found is None:
        return "unknown"
    return found.rating if control.settled(active, lawn, use.cultivar) else "caution"


def of(fact: Fact, suited: Suited, text: str, factor: str, **more: str) -> Reason:
    """A reason with the standing and source of a fact."""
    return Reason(suited, text, fact.standing, tuple(fact.source), factor, **more)  # type: ignore[arg-type]


def _registration(control: Control, use: Use, name: str, active: Active) -> Iterator[Reason]:
    known = active.registration
    if known.status == "cancelled":
        text = f"{capital(name)} is cancelled in Australia, so it must not be used (as known on {_day(known)})."
        yield of(known, "no", text, "registration", more=known.text)
    elif known.status == "unknown":
        text = f"Whether a product with {name} may be used here is not known: check with the regulator first."
        yield of(known, "wait", text, "registration")
    elif known.status == "professional_only":
        text = f"{capital(name)} is for trained users only (as known on {_day(known)})."
        yield of(known, "yes", text, "registration", more=known.text, weight="care")
    if active.confirm is not None:
        yield of(active.confirm, "wait", active.confirm.text, "registration")


def _lawn(control: Control, use: Use, name: str, active: Active) -> Iterator[Reason]:
    if use.lawn is None:
        if use.place == "lawn" and active.use == "non_selective" and use.how != "wipe":
            yield of(active, "no", f"{capital(name)} kills any lawn: on paving or in a bed, give the place.", "lawn")
        elif use.place == "lawn":
            text = f"the lawn grass was not given, so its tolerance of {name} was not judged; give it (--lawn)"
            yield Reason("yes", text, factor="lawn", weight="open")
        return
    lawn = control.lawns[use.lawn].name
    known = control.rating(name, use.lawn, use.cultivar)
    if use.place != "lawn":
        if known is not None and known.rating == "injures":
            yield of(known, "yes", f"{capital(name)} injures {lawn}: keep it off the lawn.", "lawn", weight="care")
    elif active.use == "non_selective":
        if use.how == "wipe":
            text = f"{capital(name)} kills the grass that it touches: expect a dead spot, and repair it."
            yield of(known or active, "yes", text, "lawn", weight="care")
        else:
            yield of(known or active, "no", f"{capital(name)} kills the lawn that it touches.", "lawn")
    elif not control.settled(name, use.lawn, use.cultivar):
        yield _by_label(use, name, lawn, known)
    else:
        yield from _rated(control, use, name, lawn)


def _by_label(use: Use, name: str, lawn: str, known: Response | None) -> Reason:
    read = use.label(name)
    if read is not None:
        return Reason("yes", f"{capital(name)} on {lawn}: {read}.", "by the label", (), "lawn", weight="care")
    before = "which counts as caution: do not use it before you have found this grass on the label."
    if known is None:
        return Reason("wait", f"Whether {lawn} tolerates {name} is not known, {before}", factor="lawn")
    text = f"That {lawn} tolerates {name} is from memory only, {before}"
    return of(known, "wait", text, "lawn", more=_sentence(known.note))


def _rated(control: Control, use: Use, name: str, lawn: str) -> Iterator[Reason]:
    known = control.rating(name, use.lawn or "", use.cultivar)
    assert known is not None and use.lawn is not None
    note = _sentence(known.note)
    if known.rating == "injures":
        cultivars = control.lawns[use.lawn].cultivars
        which = f"{lawn} ({cultivars[use.cultivar].name})" if use.cultivar in cultivars else lawn
        yield of(known, "no", f"{capital(name)} injures {which}.", "lawn", more=note)
        return
    if known.rating == "caution":
        text = f"Caution: {name} may injure {lawn}; use it only as the label directs for that grass."
        yield of(known, "yes", text, "lawn", more=note, weight="care")
    else:
        yield of(known, "yes", f"{capital(name)} is tolerated by {lawn} where the label names it.", "lawn", more=note)
    if use.cultivar is None:
        for cultivar in control.excepted(name, use.lawn):
            response = control.tolerance[name][use.lawn].cultivars[cultivar]
            which = control.lawns[use.lawn].cultivars[cultivar].name
            text = f"Not on {which}, which it injures: find out which {lawn} it is."
            yield of(response, "yes", text, "lawn", weight="care")


def _law(control: Control, use: Use, name: str, active: Active) -> Iterator[Reason]:
    banning = [state for state in control.states.values() if any(ban.active == name for ban in state.bans)]
    if use.state is None:
        for state in banning:
            text = f"the state was not given, and {state.name} bans {name} for part of the year; give it (--state)"
            yield of(state, "yes", text, "law", weight="open")
        return
    state = control.states[use.state]
    for ban in state.bans:
        if ban.active != name:
            continue
        if use.month is None:
            yield of(state, "wait", f"{state.name}: {ban.text} The month was not given.", "law")
        elif use.month in ban.whole_months:
            yield of(state, "no", f"{state.name}: {ban.text}", "law")
        elif use.month in ban.part_months:
            yield of(state, "wait", f"{state.name}: {ban.text}", "law")


def _near(control: Control, use: Use, name: str, active: Active) -> Iterator[Reason]:
    near = set(use.near)
    if "pond" in near:
        text = "Water is near: read the distance to water on the label first, and keep it."
        yield Reason("wait", text, factor="near")
    if "edibles" in near and active.lasts_in_clippings:
        text = f"{capital(name)} persists in clippings and compost and injures food plants."
        yield Reason("no", text, "published", ("VT_COMPOST",), "near")
    elif "edibles" in near and active.volatile:
        text = f"{capital(name)} may drift as vapour onto nearby food plants."
        yield Reason("yes", text, "from memory", ("MEM",), "near", weight="care")
    if "bees" in near and use.blooming and use.how != "soil":
        yield Reason("wait", "It may be in flower and bees are near: mow the flowers off first.", factor="near")
    if near & {"grazing", "pets"}:
        text = "Animals that eat the lawn must be kept off for as long as the label says."
        yield Reason("yes", text, factor="near", weight="care")


def _group(control: Control, use: Use, name: str, active: Active) -> Iterator[Reason]:
    if active.group and active.group in use.used:
        text = f"Group {active.group} was used here before: prefer another mode of action, or no herbicide."
        yield Reason("yes", text, factor="group", weight="care")
    elif active.group == 0:
        text = f"{capital(name)} has no classified mode of action, so using it does not rotate groups."
        yield of(active, "yes", text, "group")


def capital(text: str) -> str:
    """Text as it begins a sentence."""
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str], together: bool = False) -> str:
    """Names as they stand in a sentence.

    >>> listed(("bindii", "catsear", "dandelion")), listed(("bindii", "catsear"), together=True)
    ('bindii, catsear or dandelion', 'bindii and catsear')
    """
    *first, last = names
    return f"{', '.join(first)}{' and ' if together else ' or '}{last}" if first else last


def _day(known: Registration) -> str:
    return day_text(known.checked)


def _sentence(note: str) -> str:
    """A note as a sentence; empty where there is none."""
    if not note:
        return ""
    return capital(note) if note.endswith((".", "?")) else f"{capital(note)}."


RULES = (_registration, _lawn, _law, _near, _group)
