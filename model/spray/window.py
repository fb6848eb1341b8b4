"""Whether to spray now, or in which hours of a day: go, caution or stop, with every reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from model.spray.delta_t import delta_t
from model.spray.inversion import judge_clock, judge_signs
from model.spray.reason import Level, Reason, Word, most_serious_first, worst
from model.spray.rules import Band, Limit, Rules
from model.spray.time_of_day import Daylight, Occasion
from model.spray.weather import Forecast, Weather


@dataclass(frozen=True)
class Spray:
    """What is to be sprayed; an empty ``active`` was not given.

    ``rain_fast``: hours without rain that it needs, at best and to be sure, None where no figure is known; ``cited``
    its standing and source in words. ``volatile``: in heat it may drift as vapour after the spray has dried.
    ``pre_emergent``: it needs rain soon.
    """

    active: str = ""
    rain_fast: tuple[float, float] | None = None
    cited: str = "no source named"
    volatile: bool = False
    pre_emergent: bool = False


@dataclass(frozen=True)
class Verdict:
    """The overall judgement of reasons, most serious first. ``delta_t`` in C to one decimal, as it was judged."""

    delta_t: float
    reasons: tuple[Reason, ...]

    @property
    def word(self) -> Word:
        """go, caution or stop."""
        return worst(self.reasons)

    @property
    def open(self) -> tuple[Reason, ...]:
        """What could not be judged, as it was not given."""
        return tuple(reason for reason in self.reasons if reason.level == "not judged")

    def against(self) -> tuple[Reason, ...]:
        """The reasons for caution and for stop."""
        return tuple(reason for reason in self.reasons if reason.level in ("caution", "stop"))

    def as_json(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "delta_t": self.delta_t,
            "verdict": self.word,
            "not_judged": [reason.factor for reason in self.open],
            "reasons": [str(reason) for reason in self.reasons],
        }


@dataclass(frozen=True)
class Hour:
    """One hour of a forecast: its reading and verdict."""

    weather: Weather
    verdict: Verdict

    @property
    def starts(self) -> float:
        """Hours by the local clock."""
        return self.weather.hour or 0.0

    @property
    def ends(self) -> float:
        """Hours by the local clock; the hour itself is not in it."""
        return self.starts + self.weather.lasts


@dataclass(frozen=True)
class Day:
    """A forecast judged hour by hour."""

    hours: tuple[Hour, ...]

    @property
    def usable(self) -> tuple[tuple[float, float], ...]:
        """Runs of hours in which every verdict is go: from and to, hours by the local clock."""
        return tuple((run[0].starts, run[-1].ends) for run in self.runs() if run[0].verdict.word == "go")

    def runs(self) -> list[list[Hour]]:
        """Hours in unbroken runs with the same verdict."""
        runs: list[list[Hour]] = []
        for hour in self.hours:
            last = runs[-1][-1] if runs else None
            joins = last is not None and abs(last.ends - hour.starts) < 1e-6
            if last is not None and joins and last.verdict.word == hour.verdict.word:
                runs[-1].append(hour)
            else:
                runs.append([hour])
        return runs

    def as_json(self) -> dict[str, Any]:
        """For ``--json``."""
        hours = [{"hour": hour.starts, **hour.verdict.as_json()} for hour in self.hours]
        return {"hours": hours, "usable": [list(run) for run in self.usable]}


def judge(
    weather: Weather,
    rules: Rules,
    sprays: Sequence[Spray] = (),
    occasion: Occasion | None = None,
    signs: Sequence[str] = (),
    lawn: str | None = None,
    besides: Sequence[Reason] = (),
    lights: Sequence[Daylight] | None = None,
) -> Verdict:
    """Judge one reading. Without ``occasion``, every state and month is considered.

    ``sprays``: every active of the mix, which is as strict as its strictest part. ``signs``: keys of the signs of
    configs/spray.yaml that are seen. ``lawn``: the grass, None where not given. ``besides``: reasons other than the
    weather, which count as much. ``lights``: of ``occasion``, where they are known already. Raises SprayError for an
    unknown state or sign.
    """
    occasion = occasion or Occasion()
    if lights is None:
        lights = occasion.lights(rules.facts.places) if weather.hour is not None else ()
    # What is shown is what is judged, so that 8.0 is never above 8.
    depression = round(delta_t(weather.temperature, weather.humidity), 1)
    readings = {
        "delta_t": depression,
        "wind": weather.wind,
        "heat": weather.temperature,
        "cold": weather.temperature,
        "humidity": weather.humidity,
    }
    reasons = [judge_band(rules, factor, rules.facts.bands[factor], value) for factor, value in readings.items()]
    reasons += judge_signs(rules, signs)
    reasons.append(judge_clock(rules, weather.hour, weather.lasts, lights, occasion.wanted))
    for spray in sprays or (Spray(),):
        reasons.append(judge_rain(rules, weather, spray))
        reasons += judge_volatile(rules, weather, spray)
        reasons += judge_lawn(rules, weather, spray, lawn)
    return Verdict(depression, most_serious_first(dict.fromkeys((*reasons, *besides))))


def judge_day(
    forecast: Forecast,
    rules: Rules,
    sprays: Sequence[Spray] = (),
    occasion: Occasion | None = None,
    lawn: str | None = None,
    besides: Sequence[Reason] = (),
) -> Day:
    """Judge each hour of a forecast as a whole: none of it may be in the lock-out, and rain counts from its end.

    A date in the forecast is taken for the day, unless ``occasion`` has one.
    """
    occasion = (occasion or Occasion()).on_day(forecast.day)
    lights = occasion.lights(rules.facts.places)
    hours = [
        Hour(weather, judge(weather, rules, sprays, occasion, (), lawn, besides, lights)) for weather in forecast.hours
    ]
    return Day(tuple(hours))


def judge_band(rules: Rules, factor: str, band: Band, value: float) -> Reason:
    """The reason given by one reading against the limits of its factor."""
    reading = f"{band.name} of {value:g} {band.unit}"
    levels: tuple[tuple[Level, Limit | None, Limit | None], ...] = (
        ("stop", band.stop_below, band.stop_above),
        ("caution", band.caution_below, band.caution_above),
    )
    for level, below, above in levels:
        for side, limit in (("below", below), ("above", above)):
            if limit is not None and (value < limit.value if side == "below" else value > limit.value):
                text = f"{reading} is {side} {limit.value:g} {band.unit}: {limit.because}"
                return Reason(factor, level, text, rules.cited(limit))
    low = band.caution_below or band.stop_below
    high = band.caution_above or band.stop_above
    ends = [limit for limit in (low, high) if limit is not None]
    if low is not None and high is not None:
        text = f"{reading} is within {low.value:g} to {high.value:g} {band.unit}"
    else:
        text = f"{reading} is not {'below' if high is None else 'above'} {ends[0].value:g} {band.unit}"
    return Reason(factor, "go", text, rules.cited(*ends))


def judge_rain(rules: Rules, weather: Weather, spray: Spray) -> Reason:
    """The reason given by rain: it washes spray off leaves, and a pre-emergent needs it."""
    rain = rules.facts.rain
    if spray.pre_emergent:
        if weather.rain_in is not None and weather.rain_in <= rain.raining.value:
            text = f"rain in {weather.rain_in:g} h: {rain.raining.because}"
            return Reason("rain", "caution", text, rules.cited(rain.raining))
        wish = f"{spray.active} needs about {rain.pre_emergent.value:g} mm soon after: {rain.pre_emergent.because}"
        text = wish if weather.rain_in is None else f"rain in {weather.rain_in:g} h suits, as {wish}"
        return Reason("rain", "go", text, rules.cited(rain.pre_emergent))
    assumed = spray.rain_fast is None
    low, high = spray.rain_fast or (rain.assumed.value, rain.assumed.value)
    cited = rules.cited(rain.assumed) if assumed else spray.cited
    needs = f"{spray.active or 'the spray'} needs {low:g}{f' to {high:g}' if high > low else ''} h without rain"
    if assumed:
        why = rain.assumed.because if spray.active else "no active was named"
        needs += f" (assumed: {why})"
    if weather.rain_in is None and weather.dry_for is None:
        text = f"rain was not given; {needs}, so give it (--rain-in, or a column rain)"
        return Reason("rain", "not judged", text, cited)
    if weather.rain_in is None:
        dry = weather.dry_for or 0
        text = f"the forecast shows no rain in the {dry:g} h that it covers afterwards; {needs}"
        return Reason("rain", "not judged" if dry < high else "go", text, cited)
    text = f"rain in {weather.rain_in:g} h; {needs}"
    if weather.rain_in < low:
        return Reason("rain", "stop", text, cited)
    return Reason("rain", "caution" if weather.rain_in < high else "go", text, cited)


def judge_volatile(rules: Rules, weather: Weather, spray: Spray) -> list[Reason]:
    """The reason given by heat, now or forecast, for a volatile active; empty for others."""
    limit = rules.facts.volatile
    heat = f"{limit.value:g} °C, above which {limit.because} for {limit.hours:g} h"
    cited = rules.cited(limit)
    now, ahead = weather.temperature, weather.warmest_ahead
    hottest = now if ahead is None else max(now, ahead)
    if not spray.active:
        if hottest <= limit.value:
            return []
        return [Reason("volatile", "not judged", f"it is hotter than {heat}; name the active (--active)", cited)]
    if not spray.volatile:
        return []
    if now > limit.value:
        return [Reason("volatile", "stop", f"{spray.active} at {now:g} °C: over {heat}", cited)]
    if hottest > limit.value:
        return [Reason("volatile", "stop", f"{spray.active}, and {hottest:g} °C is to come: over {heat}", cited)]
    return [Reason("volatile", "go", f"{spray.active} is volatile; keep under {heat}: see the forecast", cited)]


def judge_lawn(rules: Rules, weather: Weather, spray: Spray, lawn: str | None) -> list[Reason]:
    """Caution where heat makes the active injure the lawn, or the lawn that it may be."""
    reasons = []
    for heat in rules.facts.lawn_heat:
        if spray.active.casefold() != heat.active.casefold() or weather.temperature <= heat.value:
            continue
        if lawn in (None, "unknown") or lawn in heat.lawns:
            doubt = "" if lawn in heat.lawns else f", and the lawn may be {' or '.join(heat.lawns)}"
            text = f"air temperature of {weather.temperature:g} °C is above {heat.value:g} °C{doubt}: {heat.because}"
            reasons.append(Reason("heat", "caution", text, rules.cited(heat)))
    return reasons
