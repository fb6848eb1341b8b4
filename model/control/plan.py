"""Make the plan: options judged and put in order, with what must be said beside them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from model.control.case import Case, check_case
from model.control.facts import MethodName, Rating, Statement
from model.control.judge import WORST, Matter, Reason, Suited, judge
from model.control.load import Control
from model.control.year import Year, in_order, year_of
from model.flora.source import cite
from model.flora.species import Fact, Standing

RATINGS: tuple[Rating, ...] = ("safe", "caution", "unknown", "injures")


@dataclass(frozen=True)
class UsedActive:
    """An active of an option on this lawn. ``rain_fast_hours`` is None where rain is wanted (pre-emergents)."""

    name: str
    group: int
    lawn_rating: Rating
    rain_fast_hours: float | None
    rain_fast_published: bool

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "name": self.name,
            "group": self.group,
            "lawn_rating": self.lawn_rating,
            "rain_fast_hours": self.rain_fast_hours,
            "rain_fast_published": self.rain_fast_published,
        }


@dataclass(frozen=True)
class JudgedOption:
    """One thing that may be done, judged for the case.

    ``do``: what to do, with its standing. ``out``: what must come out of the ground. ``leaves``:
    what it leaves undone. ``look_again``: days until survivors show. ``sources`` are keys of
    configs/sources.yaml.
    """

    species: tuple[str, ...]
    method: MethodName
    title: str
    do: tuple[Reason, ...]
    actives: tuple[UsedActive, ...]
    suited: Suited
    reasons: tuple[Reason, ...]
    months: tuple[int, ...]
    out: tuple[str, ...]
    leaves: tuple[str, ...]
    look_again: tuple[int, int] | None
    sources: tuple[str, ...]
    standing: Standing

    @property
    def key(self) -> tuple[str, frozenset[str]]:
        """What makes options of two plants the same thing."""
        return self.method, frozenset(active.name for active in self.actives)

    def as_json(self, control: Control) -> dict[str, Any]:
        """The option as design section 4 has it, and more beside."""
        return {
            "method": self.method,
            "title": self.title,
            "do": [with_standing(r.text, r.standing, r.source, control) for r in self.do],
            "actives": [active.as_json() for active in self.actives],
            "suited": self.suited,
            "why": [with_standing(r.text, r.standing, r.source, control) for r in self.reasons],
            "months": list(self.months),
            "take_out": list(self.out),
            "leaves_undone": list(self.leaves),
            "look_again_days": list(self.look_again) if self.look_again else None,
            "sources": list(self.sources),
            "standing": self.standing,
        }


@dataclass(frozen=True)
class Parting:
    """Where the advice for the candidates of a shortlist parts, and what tells the two apart."""

    one: str
    other: str
    tell_by: tuple[str, ...]
    note: str


@dataclass(frozen=True)
class Plan:
    """What to do in a case. ``options`` hold for every candidate; ``only`` for some of them."""

    case: Case
    options: tuple[JudgedOption, ...]
    only: tuple[JudgedOption, ...]
    partings: tuple[Parting, ...]
    about: tuple[tuple[str, Statement], ...]
    traps: tuple[Statement, ...]
    cautions: tuple[Statement, ...]
    law: tuple[Statement, ...]
    years: tuple[Year, ...]

    def as_json(self, control: Control) -> dict[str, Any]:
        """The plan as design section 4 has it; for a shortlist ``species`` is a list."""
        species = self.case.species

        def say(statement: Statement) -> str:
            return with_standing(statement.text, statement.standing, tuple(statement.source), control)

        return {
            "species": species[0] if len(species) == 1 else list(species),
            "lawn": self.case.lawn,
            "month": self.case.month,
            "case": {name: list(v) if isinstance(v, tuple) else v for name, v in vars(self.case).items()},
            "options": [option.as_json(control) for option in self.options],
            "only_for": [{"species": list(o.species), **o.as_json(control)} for o in self.only],
            "tell_apart": [
                {"one": p.one, "other": p.other, "by": list(p.tell_by), "note": p.note} for p in self.partings
            ],
            "about": [{"species": name, "text": say(text)} for name, text in self.about],
            "lawn_name": [say(trap) for trap in self.traps],
            "cautions": [say(caution) for caution in self.cautions],
            "law": [say(statement) for statement in self.law],
            "year": [year.as_json() for year in self.years],
        }


def with_standing(text: str, standing: Standing, sources: Iterable[str], control: Control) -> str:
    """A sentence with how far it may be leant on: the published works, or that there is none."""
    return f"{text} [{cite(control.flora.sources, Fact(source=list(sources), standing=standing))}]"


def plan(control: Control, case: Case) -> Plan:
    """The plan for a case. Raises AnswerError for a word that is not known."""
    case = check_case(case, control)
    each = {species: _judged(control, case, species) for species in case.species}
    shared, only = _shared_and_own(control, list(each.values()))
    options = _ordered(control, case, shared)
    rest = _ordered(control, case, only)
    about = tuple((s, text) for s in case.species for text in control.treatments[s].about)
    return Plan(
        case=case,
        options=options,
        only=rest,
        partings=_partings(control, case.species),
        about=about,
        traps=tuple(control.lawns[case.lawn].traps) if case.place == "lawn" else (),
        cautions=_cautions(control, case, (*options, *rest)),
        law=_law(control, case),
        years=tuple(year_of(control, species) for species in case.species),
    )


def _judged(control: Control, case: Case, species: str) -> list[JudgedOption]:
    judged = []
    for option in control.options(species):
        matter = Matter(control, case, species, option)
        suited, reasons = judge(matter)
        actives = tuple(
            UsedActive(
                name, active.group, matter.rating(name), control.rain_fast_hours(active), active.rain_fast is not None
            )
            for name, active in matter.actives.items()
        )
        judged.append(
            JudgedOption(
                species=(species,),
                method=option.method,
                title=matter.method.title,
                do=(Reason(suited, option.do, option.standing, tuple(option.source)),),
                actives=actives,
                suited=suited,
                reasons=reasons,
                months=matter.months,
                out=tuple(option.out),
                leaves=(option.leaves,),
                look_again=option.look_again,
                sources=tuple(option.source),
                standing=option.standing,
            )
        )
    return judged


def _shared_and_own(control: Control, plans: list[list[JudgedOption]]) -> tuple[list[JudgedOption], list[JudgedOption]]:
    """Options that all candidates share, made one; and those that only some have."""
    if len(plans) == 1:
        return plans[0], []
    by_key: dict[Any, list[JudgedOption]] = {}
    for options in plans:
        for option in options:
            by_key.setdefault(option.key, []).append(option)
    common = [_one(control, same) for same in by_key.values() if len(same) == len(plans)]
    only = [option for same in by_key.values() if len(same) < len(plans) for option in same]
    return common, only


def _one(control: Control, same: list[JudgedOption]) -> JudgedOption:
    """One option for several plants: as cautious as the most cautious, with all that must come out."""
    worst = max(same, key=lambda option: WORST[option.suited])
    weakest = max(same, key=lambda option: _STANDINGS.index(option.standing))
    days = [option.look_again for option in same if option.look_again is not None]
    return JudgedOption(
        species=_union(option.species for option in same),
        method=worst.method,
        title=worst.title,
        do=_told(control, same, [option.do for option in same]),
        actives=worst.actives,
        suited=worst.suited,
        reasons=tuple(
            sorted(_told(control, same, [option.reasons for option in same]), key=lambda reason: -WORST[reason.suited])
        ),
        months=in_order(set.intersection(*(set(option.months) for option in same))),
        out=_union(option.out for option in same),
        leaves=_union(option.leaves for option in same),
        look_again=min(days) if days else None,
        sources=_union(option.sources for option in same),
        standing=weakest.standing,
    )


def _told(control: Control, same: list[JudgedOption], told: list[tuple[Reason, ...]]) -> tuple[Reason, ...]:
    """What holds for all plants as it is; what holds for one of them with its name."""
    shared = set.intersection(*(set(reasons) for reasons in told))
    found = [reason for reason in told[0] if reason in shared]
    for option, reasons in zip(same, told, strict=True):
        name = control.flora.species[option.species[0]].common_name
        found += [replace(reason, text=f"{name}: {reason.text}") for reason in reasons if reason not in shared]
    return tuple(found)


def _union(parts: Iterable[Iterable[Any]]) -> tuple[Any, ...]:
    return tuple(dict.fromkeys(item for part in parts for item in part))


_STANDINGS: tuple[Standing, ...] = ("published", "common practice", "from memory")


def _ordered(control: Control, case: Case, options: list[JudgedOption]) -> tuple[JudgedOption, ...]:
    """By method; within one, what is suited first, then a group not used here, then what the lawn bears best."""
    order = list(control.methods.methods)

    def rank(option: JudgedOption) -> tuple[int, ...]:
        groups = {active.group for active in option.actives} - {0}
        resistant = {r.group for s in option.species for r in control.treatments[s].resistance}
        worst = max((RATINGS.index(active.lawn_rating) for active in option.actives), default=0)
        return (
            order.index(option.method),
            WORST[option.suited],
            len(groups & set(case.used)),
            len(groups & resistant),
            worst,
            _STANDINGS.index(option.standing),
        )

    return tuple(sorted(options, key=rank))


def _partings(control: Control, species: tuple[str, ...]) -> tuple[Parting, ...]:
    found = []
    for i, one in enumerate(species):
        for other in species[i + 1 :]:
            entry = control.flora.look_alike(one, other)
            if entry is not None:
                found.append(Parting(one, other, tuple(entry.separate_by), entry.note))
    return tuple(found)


def _cautions(control: Control, case: Case, options: tuple[JudgedOption, ...]) -> tuple[Statement, ...]:
    names = {active.name for option in options if option.suited != "no" for active in option.actives}
    actives = [control.actives[name] for name in names]
    occasions = {"always", *case.near, *names}
    if names:
        occasions.add("chemical")
    if any(active.lasts_in_clippings for active in actives):
        occasions.add("lasts_in_clippings")
    if any(active.volatile for active in actives):
        occasions.add("volatile")
    return tuple(caution for caution in control.cautions if caution.when in occasions)


def _law(control: Control, case: Case) -> tuple[Statement, ...]:
    if case.state is None:
        return ()
    state = control.states[case.state]

    def say(text: str) -> Statement:
        return Statement(text=text, source=state.source, standing=state.standing)

    return (
        say(f"Licence, {state.name}: {state.licence} Confirm with the regulator."),
        say(f"Record, {state.name}: {state.record} Confirm with the regulator."),
        Statement(
            text=f"Not confirmed for {state.name}: {state.unconfirmed}", source=["CP"], standing="common practice"
        ),
    )
