"""Whether to spray now, or in which hours: weather limits and the plan's judgement as one verdict."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from model.control.knowledge import Control
from model.control.option import JudgedOption
from model.control.use import Reason, Use, judge_use
from model.flora.source import cite
from model.flora.species import Fact
from model.spray import Day, Forecast, Occasion, Rules, Spray, Verdict, Weather, judge, judge_day
from model.spray import Reason as SprayReason
from model.spray.reason import Level


def judge_spraying(
    control: Control,
    rules: Rules,
    use: Use,
    weather: Weather,
    occasion: Occasion | None = None,
    signs: Sequence[str] = (),
    rain_fast: float | None = None,
    option: JudgedOption | None = None,
    besides: Sequence[SprayReason] = (),
) -> Verdict:
    """Judge one reading for a use: never milder than the plan is for the same case.

    Month and state of ``use`` are those of ``occasion``, where it has them. ``rain_fast``: hours off the label in
    hand, used in place of those published. ``option``: as the plan judged it; its other reasons (season, stage, cover)
    count too, as do those ``besides``. Raises SprayError for an unknown state or sign.
    """
    occasion = occasion or Occasion()
    use = _on(use, occasion)
    sprays = sprays_of(control, use.actives, rain_fast)
    return judge(weather, rules, sprays, occasion, signs, use.lawn, (*reasons_of(control, use, option), *besides))


def judge_spraying_day(
    control: Control,
    rules: Rules,
    use: Use,
    forecast: Forecast,
    occasion: Occasion | None = None,
    rain_fast: float | None = None,
    option: JudgedOption | None = None,
    besides: Sequence[SprayReason] = (),
) -> Day:
    """Judge each hour of a forecast for a use. A date in the forecast is the day, unless ``occasion`` has one."""
    occasion = (occasion or Occasion()).on_day(forecast.day)
    use = _on(use, occasion)
    sprays = sprays_of(control, use.actives, rain_fast)
    return judge_day(forecast, rules, sprays, occasion, use.lawn, (*reasons_of(control, use, option), *besides))


def sprays_of(control: Control, actives: Sequence[str], rain_fast: float | None = None) -> tuple[Spray, ...]:
    """The properties of each active that weather limits depend on; where none is given, only the rain-fast hours."""
    label = {} if rain_fast is None else {"rain_fast": (rain_fast, rain_fast), "cited": "the label in hand"}
    return tuple(dataclasses.replace(_spray(control, name), **label) for name in actives or ("",))  # type: ignore[arg-type]


def _spray(control: Control, name: str) -> Spray:
    if not name:
        return Spray()
    active = control.actives[name]
    spray = Spray(name, volatile=active.volatile, pre_emergent=active.use == "pre_emergent")
    if active.rain_fast is None:
        return spray
    hours = (active.rain_fast.low, active.rain_fast.high)
    return dataclasses.replace(spray, rain_fast=hours, cited=cite(control.flora.sources, active.rain_fast))


def reasons_of(control: Control, use: Use, option: JudgedOption | None = None) -> tuple[SprayReason, ...]:
    """The judgement of a use as reasons beside the weather's: what the plan rules out is stop here too."""
    reasons = dict.fromkeys((*judge_use(control, use), *(option.reasons if option is not None else ())))
    return tuple(_reason_of(control, reason) for reason in reasons)


def _reason_of(control: Control, reason: Reason) -> SprayReason:
    level: Level = "go"
    if reason.suited != "yes":
        level = "stop" if reason.suited == "no" else "caution"
    elif reason.weight != "fine":
        level = "caution" if reason.weight == "care" else "not judged"
    if reason.standing == "by the label":
        cited = "the label, as it was noted"
    else:
        cited = cite(control.flora.sources, Fact(source=list(reason.source), standing=reason.standing))
    return SprayReason(reason.factor, level, reason.whole.rstrip("."), cited)


def _on(use: Use, occasion: Occasion) -> Use:
    month = occasion.month or (occasion.day.month if occasion.day is not None else None)
    return dataclasses.replace(use, month=month or use.month, state=occasion.state or use.state)
