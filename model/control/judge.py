"""Judge one option in one case: suited now, wait, or no, each with its reasons.

Each rule looks at one factor and returns its reasons; the worst of them decides. Whether the actives may be used is
judged in model.control.use, as it is for the spray window.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from model.control.case import Case
from model.control.facts import Active, Method, Option, Seeding, Stage, When
from model.control.knowledge import Control
from model.control.use import WORST, How, Reason, Suited, Use, capital, judge_use, of, suited_of
from model.control.year import Timing, next_month, spans, timing_of
from model.flora.species import Season

# The stages that suit an option timed by the plant's own stages.
FITS: dict[When, tuple[Stage, ...]] = {
    "germination": ("seedling",),
    "young": ("seedling", "young"),
    "before_flowers": ("seedling", "young"),
    "flowers": ("flowering",),
    "before_seed": ("seedling", "young", "flowering"),
}
STAGE_WORDS: dict[Stage, str] = {
    "seedling": "a seedling",
    "young": "a young plant",
    "flowering": "in flower",
    "seeding": "in seed",
}
WORKS_ON: dict[Stage, str] = {
    "seedling": "seedlings",
    "young": "young plants",
    "flowering": "plants in flower",
    "seeding": "plants in seed",
}
MONTHS = calendar.month_name  # from 1


@dataclass(frozen=True)
class Matter:
    """One option in one case, with what the rules look up."""

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
    def season(self) -> Season:
        """The season of the plant."""
        return self.control.flora.species[self.species].season

    @cached_property
    def timing(self) -> Timing:
        """When the option is best used, on this lawn."""
        lawn = self.case.lawn if self.case.place == "lawn" else "unknown"
        return timing_of(self.control, self.option, self.species, lawn)

    @property
    def use(self) -> Use:
        """The use of its actives, as model.control.use judges it."""
        case, how = self.case, HOW.get(self.option.method, "spray")
        return Use(
            actives=tuple(self.option.actives), how=how, lawn=case.lawn, cultivar=case.cultivar, place=case.place,
            month=case.month, state=case.state, near=case.near, blooming=in_stage(self, "flowering"), used=case.used,
            labels=case.labels,
        )  # fmt: skip

    @property
    def stage(self) -> Stage | None:
        """The given stage; none where that is "in seed", and this plant sets no seed here."""
        seedless = self._of_seed.no_seed is not None
        return None if self.case.stage == "seeding" and seedless else self.case.stage

    @property
    def seeding(self) -> Seeding | None:
        """What to do first, where the plant is in seed, or is said to be."""
        in_seed = self.case.stage == "seeding" or in_stage(self, "seeding")
        return self._of_seed if in_seed and shows(self) else None

    @property
    def _of_seed(self) -> Seeding:
        treatment = self.control.treatments[self.species]
        return treatment.seeding or self.control.kinds[treatment.kind].seeding


HOW: dict[str, How] = {"pre_emergent": "soil", "wipe": "wipe"}


def in_stage(m: Matter, stage: Stage) -> bool:
    """Whether the plant is in flower, or in seed: by the given stage, else by its season."""
    return is_at(stage, m.season, m.case.month, m.stage)


def is_at(stage: Stage, season: Season, month: int, given: Stage | None) -> bool:
    """Whether a plant of this season is in flower, or in seed, in a month (1-12), unless its stage is ``given``."""
    months = season.flowers if stage == "flowering" else season.seeds
    return given == stage if given is not None else month in (months or ())


def shows(m: Matter) -> bool:
    """Whether the plant can be seen: its stage was given, or it is its season."""
    return m.case.stage is not None or m.case.month in m.season.seen


def is_the_lawn(control: Control, case: Case, species: str) -> bool:
    """Whether a plant is the lawn grass itself, in the lawn."""
    return case.place == "lawn" and control.lawns[case.lawn].species == species


def is_usual(m: Matter) -> bool:
    """Whether an option is the usual choice on this lawn, and not ruled out there."""
    usual = m.case.place == "lawn" and m.case.lawn in m.option.usual_on
    return usual and suited_of(judge_use(m.control, m.use)) != "no"


def judge(matter: Matter) -> tuple[Suited, tuple[Reason, ...]]:
    """Whether an option suits the case, and every reason, the most serious first."""
    found = [reason for rule in RULES for reason in rule(matter)]
    found.sort(key=lambda reason: -WORST[reason.suited])
    return suited_of(found), tuple(found)


def _place(m: Matter) -> Iterator[Reason]:
    lawn = m.control.lawns[m.case.lawn]
    if is_the_lawn(m.control, m.case, m.species) and m.option.method != "leave":
        yield of(lawn, "no", f"This lawn is {lawn.name} itself.", "place")
    if m.case.place not in (m.option.places or m.method.places):
        yield of(m.option, "no", f"It is not for {_PLACES[m.case.place]}.", "place")
    if m.option.only_on and m.case.place == "lawn" and m.case.lawn not in m.option.only_on:
        names = " or ".join(m.control.lawns[lawn].name for lawn in m.option.only_on)
        suited: Suited = "wait" if m.case.lawn == "unknown" else "no"
        yield of(m.option, suited, f"It is for {names} lawns only.", "place")
    elif is_usual(m):
        yield of(m.option, "yes", f"The usual choice on {m.control.lawns[m.case.lawn].name}.", "place")


def _use(m: Matter) -> Iterator[Reason]:
    # Missing input is asked for in the spray window, not in a plan.
    yield from (reason for reason in judge_use(m.control, m.use) if reason.weight != "open")


def _resistance(m: Matter) -> Iterator[Reason]:
    groups = {active.group for active in m.actives.values()} - {0}
    for resistance in m.control.treatments[m.species].resistance:
        if resistance.group in groups:
            text = f"Group {resistance.group}: {resistance.text}"
            yield of(resistance, "yes", text, "group", weight="care")


def _cover(m: Matter) -> Iterator[Reason]:
    most = m.option.cover_at_most if m.option.cover_at_most is not None else m.method.cover_at_most
    if m.case.cover is not None and most is not None and m.case.cover > most:
        text = f"At {m.case.cover:g} per cent weed cover this is too much work; it suits {most:g} or less."
        yield Reason("no", text, factor="cover")


def _time(m: Matter) -> Iterator[Reason]:
    """By hand whenever it is seen; else by the given stage where that decides, else by the calendar."""
    if m.option.method == "hand":
        yield from _by_hand(m)
        return
    stage = m.stage
    if stage is not None and m.option.when in FITS:
        yield from _by_stage(m, stage, FITS[m.option.when])
        return
    stages = m.option.stages or m.method.stages
    if stage is not None and stages is not None and stage not in stages:
        yield _wrong_stage(m, stage, stages)
    yield from _by_calendar(m)


def _by_hand(m: Matter) -> Iterator[Reason]:
    months, month = m.timing.months, m.case.month
    if not shows(m):
        following = next_month(m.season.seen, month)
        until = f"It comes up again in {MONTHS[following]}; where" if following else "Where"
        text = f"Nothing shows above ground in {MONTHS[month]}, as a rule. {until} it shows now, give its growth stage."
        yield Reason("wait", text)
    elif month in months and not in_stage(m, "seeding"):
        yield from _by_calendar(m)
    elif m.option.late and (in_stage(m, "seeding") or m.stage not in ("seedling", "young")):
        yield of(m.option, "yes", m.option.late, "season", weight="care")
    elif m.stage is None and not in_stage(m, "seeding"):
        yield _timed(m, "yes", f"It can be removed whenever it is seen; easiest in {spans(months)}.")


def _by_stage(m: Matter, stage: Stage, fits: tuple[Stage, ...]) -> Iterator[Reason]:
    stages = m.option.stages or fits
    if stage not in stages:
        yield _wrong_stage(m, stage, stages)
    elif m.case.month not in m.timing.months:
        text = f"It is {STAGE_WORDS[stage]} now, which overrides the usual months ({spans(m.timing.months)})."
        yield Reason("yes", text, factor="stage")
    else:
        yield from _by_calendar(m)


def _wrong_stage(m: Matter, stage: Stage, stages: tuple[Stage, ...] | list[Stage]) -> Reason:
    if m.option.method == "pre_emergent":
        return Reason("wait", "The weed is up, so it is too late for a pre-emergent: next season.", factor="stage")
    if stage == "seeding":
        return Reason("wait", "It is in seed: too late for this now.", factor="stage")
    works = " or ".join(WORKS_ON[one] for one in stages)
    return Reason("wait", f"It is {STAGE_WORDS[stage]}: this works on {works}.", factor="stage")


def _by_calendar(m: Matter) -> Iterator[Reason]:
    months, month = m.timing.months, m.case.month
    if len(months) == 12:
        return
    if month in months:
        yield _timed(m, "yes", f"{MONTHS[month]} is a good time ({_best(m)}).")
        return
    following = next_month(months, month)
    when = f"wait until {MONTHS[following]}" if following is not None else "not now"
    what = MONTHS[month]
    if m.option.when == "lawn_grows":
        lawn = m.control.lawns[m.case.lawn].name
        yield _timed(m, "wait", f"{capital(lawn)} hardly grows in {what}: {when} ({_best(m)}).")
    else:
        yield _timed(m, "wait", f"{what} is the wrong time: {when} ({_best(m)}).")


def _best(m: Matter) -> str:
    computed = m.timing.computed and m.option.when != "lawn_grows"
    return f"best months: {spans(m.timing.months)}{', worked out from its season' if computed else ''}"


def _timed(m: Matter, suited: Suited, text: str) -> Reason:
    """A reason about months has the standing of the months, not of the option."""
    return Reason(suited, text, m.timing.standing, m.timing.source, "season")


_PLACES = {"lawn": "a lawn", "bed": "a bed", "paving": "paving"}
RULES = (_place, _use, _resistance, _cover, _time)
