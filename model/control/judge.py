"""Judge one option in one case: suited now, wait, or no, each with its reasons.

Every rule looks at one matter and returns the reasons that it has; the worst of them decides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from model.control.case import Case
from model.control.facts import Active, Method, Option, Rating
from model.control.load import Control
from model.control.year import MONTHS, best_months, next_month, spans
from model.flora.species import Fact, Standing

Suited = Literal["yes", "wait", "no"]
WORST: dict[Suited, int] = {"yes": 0, "wait": 1, "no": 2}


@dataclass(frozen=True)
class Reason:
    """Why: what it means for the option, in a sentence, and how far the sentence may be leant on."""

    suited: Suited
    text: str
    standing: Standing = "common practice"
    source: tuple[str, ...] = ("CP",)


@dataclass(frozen=True)
class Matter:
    """One option in one case, with what the rules look up again and again."""

    control: Control
    case: Case
    species: str
    option: Option

    @property
    def method(self) -> Method:
        """The option's method."""
        return self.control.methods.methods[self.option.method]

    @property
    def actives(self) -> dict[str, Active]:
        """The option's actives by name."""
        return {name: self.control.actives[name] for name in self.option.actives}

    @property
    def months(self) -> tuple[int, ...]:
        """The months in which the option is best used."""
        return best_months(self.option, self.control.flora.species[self.species], self.control.methods.young_months)

    def rating(self, active: str) -> Rating:
        """How the lawn bears an active; unknown where nothing is known."""
        found = self.control.rating(active, self.case.lawn)
        return found.rating if found is not None else "unknown"


def judge(matter: Matter) -> tuple[Suited, tuple[Reason, ...]]:
    """Whether an option suits the case, and every reason, the gravest first."""
    found = [reason for rule in RULES for reason in rule(matter)]
    found.sort(key=lambda reason: -WORST[reason.suited])
    return (found[0].suited if found else "yes"), tuple(found)


def _of(fact: Fact, suited: Suited, text: str) -> Reason:
    return Reason(suited, text, fact.standing, tuple(fact.source))


def _place(m: Matter) -> Iterator[Reason]:
    lawn = m.control.lawns[m.case.lawn]
    if m.case.place == "lawn" and lawn.species == m.species and m.option.method != "leave":
        yield _of(lawn, "no", f"This lawn is {lawn.name} itself.")
    if m.case.place not in (m.option.places or m.method.places):
        yield _of(m.option, "no", f"This is not for {_PLACES[m.case.place]}.")
    if m.option.only_on and m.case.place == "lawn" and m.case.lawn not in m.option.only_on:
        names = " or ".join(m.control.lawns[lawn].name for lawn in m.option.only_on)
        suited: Suited = "wait" if m.case.lawn == "unknown" else "no"
        yield _of(m.option, suited, f"It is for {names} lawns only.")


def _tolerance(m: Matter) -> Iterator[Reason]:
    lawn = m.control.lawns[m.case.lawn].name
    on_lawn = m.case.place == "lawn"
    for name, active in m.actives.items():
        known = m.control.rating(name, m.case.lawn)
        note = f" {_sentence(known.note)}" if known is not None and known.note else ""
        if not on_lawn:
            if known is not None and known.rating == "injures":
                yield _of(known, "yes", f"{name} injures {lawn}: keep it off the lawn.")
        elif active.use == "non_selective":
            yield _of(known or active, "no", f"{name} kills whatever green it touches, {lawn} too.")
        elif known is None:
            yield Reason(
                "wait",
                f"How {lawn} bears {name} is not known to us, which counts as caution: "
                "do not use it before you have found this grass on the label.",
                "common practice",
            )
        elif known.rating == "injures":
            yield _of(known, "no", f"{name} injures {lawn}.{note}")
        elif known.rating == "caution":
            yield _of(known, "yes", f"Caution: {lawn} may be hurt by {name}; only as the label says for it.{note}")
        else:
            yield _of(known, "yes", f"{name}: {lawn} bears it where the label names it.{note}")


def _season(m: Matter) -> Iterator[Reason]:
    months, month = m.months, m.case.month
    if len(months) == 12:
        return
    best = f"best months: {spans(months)}"
    if month in months:
        yield _of(m.option, "yes", f"{MONTHS[month - 1]} is a good time ({best}).")
        return
    following = next_month(months, month)
    when = f"wait until {MONTHS[following - 1]}" if following is not None else "not now"
    yield _of(m.option, "wait", f"{MONTHS[month - 1]} is not the time, {when} ({best}).")


def _stage(m: Matter) -> Iterator[Reason]:
    stage, stages = m.case.stage, m.method.stages
    if stage is None or stages is None or stage in stages:
        return
    if m.option.method == "pre_emergent":
        yield Reason("wait", "The weed is up, which a pre-emergent does not undo: next season.")
    elif stage == "seeding":
        yield Reason("wait", f"It is seeding: too late this time for {m.method.title.lower()}; bag the seed first.")
    else:
        yield Reason("wait", f"At the stage '{stage}' this does little; it works on: {', '.join(stages)}.")


def _cover(m: Matter) -> Iterator[Reason]:
    most = m.option.cover_at_most if m.option.cover_at_most is not None else m.method.cover_at_most
    if m.case.cover is not None and most is not None and m.case.cover > most:
        yield Reason(
            "no", f"With {m.case.cover:g} per cent under the weed this is too much work; it is for {most:g} or less."
        )


def _rotation(m: Matter) -> Iterator[Reason]:
    groups = {active.group for active in m.actives.values()} - {0}
    for group in sorted(groups & set(m.case.used)):
        yield Reason("yes", f"Group {group} was used here before: prefer another mode of action, or one without.")
    for resistance in m.control.treatments[m.species].resistance:
        if resistance.group in groups:
            yield _of(resistance, "yes", f"Group {resistance.group}: {resistance.text}")
    for name, active in m.actives.items():
        if active.group == 0:
            yield _of(active, "yes", f"{name} has no classified mode of action, so it is no change of group.")


def _near(m: Matter) -> Iterator[Reason]:
    if not m.method.chemical:
        return
    near = set(m.case.near)
    if "pond" in near:
        yield Reason("wait", "Water is near: read the distance to water on the label first, and keep it.")
    if "edibles" in near:
        for name, active in m.actives.items():
            if active.lasts_in_clippings:
                yield Reason(
                    "no", f"{name} lasts in clippings and compost and hurts food plants.", "published", ("VT_COMPOST",)
                )
            elif active.volatile:
                yield Reason(
                    "yes", f"{name} may drift as vapour onto the food plants near by.", "from memory", ("MEM",)
                )
    flowers = set(m.control.flora.species[m.species].season.flowers or ())
    blooming = m.case.stage == "flowering" or (m.case.stage is None and m.case.month in flowers)
    if "bees" in near and blooming and m.option.method != "pre_emergent":
        yield Reason("wait", "It may be in flower and bees are near: mow the flowers off first.")
    if near & {"grazing", "pets"}:
        yield Reason("yes", "Animals that eat the lawn are kept off for as long as the label says.")


def _law(m: Matter) -> Iterator[Reason]:
    for name, active in m.actives.items():
        if active.confirm is not None:
            yield _of(active.confirm, "wait", active.confirm.text)
        if m.case.state is None:
            continue
        state = m.control.states[m.case.state]
        for ban in state.bans:
            if ban.active == name and m.case.month in (*ban.whole_months, *ban.part_months):
                suited: Suited = "no" if m.case.month in ban.whole_months else "wait"
                yield _of(state, suited, f"{state.name}: {ban.text}")


def _sentence(note: str) -> str:
    text = note[0].upper() + note[1:]
    return text if text.endswith((".", "?")) else f"{text}."


_PLACES = {"lawn": "a lawn", "bed": "a bed", "paving": "paving"}
RULES = (_place, _tolerance, _law, _near, _cover, _stage, _season, _rotation)
