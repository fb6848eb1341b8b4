"""One option for control, judged for a case."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from model.control.case import Case, LabelRead
from model.control.facts import MethodName, Rating
from model.control.judge import Matter, is_usual, judge
from model.control.knowledge import Control
from model.control.use import Reason, Suited, Use, rating_of
from model.control.year import Timing
from model.flora.source import cite
from model.flora.species import Fact, Standing


@dataclass(frozen=True)
class UsedActive:
    """An active of an option on this lawn. ``rain_fast_hours`` is None for pre-emergents, which need rain.

    ``registered``: as in Registration.status. ``schedules``: of poisons, empty where not known. ``label``: the one read
    for this lawn, where our facts do not settle it; ``needs_label``: that it has not been read yet.
    """

    name: str
    group: int
    lawn_rating: Rating
    rain_fast_hours: float | None
    rain_fast_published: bool
    registered: str
    schedules: tuple[int, ...] = ()
    label: LabelRead | None = None
    needs_label: bool = False

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        plain = {**vars(self), "schedules": list(self.schedules)}
        return plain | {"label": self.label.as_json() if self.label is not None else None}


@dataclass(frozen=True)
class JudgedOption:
    """One option for control, judged for the case.

    ``do``: what to do, with its standing; ``short``: the same in a few words. ``out``: what to remove from the ground.
    ``leaves``: what it won't fix. ``look_again``: days until survivors show. ``use``: of the actives, as
    model.control.use judges it. ``excepted``: cultivars of the lawn on which it must not be used. ``usual``: the usual
    choice on this lawn. ``sources`` are keys of configs/sources.yaml.
    """

    species: tuple[str, ...]
    method: MethodName
    title: str
    short: str
    do: tuple[Reason, ...]
    actives: tuple[UsedActive, ...]
    suited: Suited
    reasons: tuple[Reason, ...]
    timing: Timing
    out: tuple[str, ...]
    leaves: tuple[str, ...]
    look_again: tuple[int, int] | None
    use: Use
    excepted: tuple[str, ...]
    usual: bool
    sources: tuple[str, ...]
    standing: Standing

    @property
    def months(self) -> tuple[int, ...]:
        """The months in which it is best done."""
        return self.timing.months

    @property
    def name(self) -> str:
        """The method and its actives."""
        return f"{self.title}: {self.mix}" if self.actives else self.title

    @property
    def mix(self) -> str:
        """The actives by name."""
        return " + ".join(active.name for active in self.actives)

    @property
    def mix_with_groups(self) -> str:
        """The actives by name, and their modes of action."""
        groups = list(dict.fromkeys(active.group for active in self.actives if active.group))
        if not groups:
            return f"{self.mix} (no classified group)"
        return f"{self.mix} ({'group' if len(groups) == 1 else 'groups'} {' and '.join(map(str, groups))})"

    @property
    def against(self) -> tuple[Reason, ...]:
        """The reasons to wait, or that rule it out; that it is for another place comes last."""
        found = [reason for reason in self.reasons if reason.suited == self.suited != "yes"]
        return tuple(sorted(found, key=lambda reason: reason.factor == "place"))

    @property
    def beside(self) -> tuple[Reason, ...]:
        """The reasons that are not against it."""
        return tuple(reason for reason in self.reasons if reason.suited == "yes")

    @property
    def ruled_out(self) -> str:
        """In one line, why it is ruled out."""
        if self.suited != "no":
            return ""
        return f"{self.against[0].text.rstrip('.')}, so not {self.mix or self.title.lower()}."

    @property
    def key(self) -> tuple[str, frozenset[str]]:
        """What makes options for two plants the same."""
        return self.method, frozenset(active.name for active in self.actives)

    def as_json(self, control: Control) -> dict[str, Any]:
        """The option as plain data, with everything of design section 4."""
        return {
            "method": self.method,
            "title": self.title,
            "name": self.name,
            "do": [with_standing(r.whole, r.standing, r.source, control) for r in self.do],
            "actives": [active.as_json() for active in self.actives],
            "suited": self.suited,
            "why": [with_standing(r.whole, r.standing, r.source, control) for r in self.reasons],
            "months": list(self.months),
            "timing": self.timing.as_json(),
            "take_out": list(self.out),
            "leaves_undone": list(self.leaves),
            "look_again_days": list(self.look_again) if self.look_again else None,
            "not_on_cultivars": list(self.excepted),
            "sources": list(self.sources),
            "standing": self.standing,
        }


def judged_option(matter: Matter) -> JudgedOption:
    control, case, option = matter.control, matter.case, matter.option
    suited, reasons = judge(matter)
    return JudgedOption(
        species=(matter.species,),
        method=option.method,
        title=matter.method.title,
        short=option.short or matter.method.short,
        do=(Reason(suited, option.do, option.standing, tuple(option.source)),),
        actives=tuple(_used(matter, name) for name in option.actives),
        suited=suited,
        reasons=reasons,
        timing=matter.timing,
        out=tuple(option.out),
        leaves=(option.leaves,),
        look_again=option.look_again,
        use=matter.use,
        excepted=_excepted(control, case, option.actives),
        usual=is_usual(matter),
        sources=tuple(option.source),
        standing=option.standing,
    )


def _used(matter: Matter, name: str) -> UsedActive:
    control, use, active = matter.control, matter.use, matter.control.actives[name]
    settled = control.settled(name, use.lawn or "unknown", use.cultivar) or active.use == "non_selective"
    return UsedActive(
        name=name,
        group=active.group,
        lawn_rating=rating_of(control, use, name),
        rain_fast_hours=control.rain_fast_hours(active),
        rain_fast_published=active.rain_fast is not None,
        registered=active.registration.status,
        schedules=tuple(active.poison.schedules) if active.poison is not None else (),
        label=None if settled else use.label(name),
        needs_label=use.place == "lawn" and use.lawn != "unknown" and not settled and use.label(name) is None,
    )


def _excepted(control: Control, case: Case, actives: Iterable[str]) -> tuple[str, ...]:
    if case.place != "lawn" or case.cultivar is not None:
        return ()
    names = [control.lawns[case.lawn].cultivars[c].name for a in actives for c in control.excepted(a, case.lawn)]
    return tuple(dict.fromkeys(names))


def with_standing(text: str, standing: str, sources: Iterable[str], control: Control) -> str:
    """A sentence with its standing: the published works, or that there is none."""
    if standing == "by the label":
        return f"{text} [by the label]"
    return f"{text} [{cite(control.flora.sources, Fact(source=list(sources), standing=standing))}]"  # type: ignore[arg-type]
