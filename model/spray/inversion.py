"""The lock-out around temperature inversions: by the time of day, and by signs on site."""

from __future__ import annotations

from collections.abc import Sequence

from model.errors import nearest
from model.spray.reason import Level, Reason, SprayError
from model.spray.rules import Rules
from model.spray.time_of_day import Daylight, clock

FACTOR = "inversion"


def judge_clock(rules: Rules, hour: float | None, lasts: float, lights: Sequence[Daylight], wanted: str = "") -> Reason:
    """The reason given by the time of day.

    ``hour`` by the local clock, for ``lasts`` hours (0: a moment). ``lights``: every daylight that may apply. Locked
    out under all of them is stop, under some of them caution, with ``wanted`` named as what would settle it.
    """
    lock = rules.facts.inversion
    if hour is None:
        text = "the hour was not given, so the night-time lock-out was not checked; give it (--hour)"
        return Reason(FACTOR, "not judged", text, rules.cited(lock.stop_before_sunset))
    levels = [_level(rules, hour, lasts, light) for light in lights]
    when = clock(hour) if lasts == 0 else f"{clock(hour)} to {clock(hour + lasts)}"
    stops, cares = levels.count("stop"), levels.count("caution")
    if stops == len(levels):
        return Reason(FACTOR, "stop", _stop_text(rules, when, hour, lights), rules.cited(lock.stop_before_sunset))
    settle = f"; give {wanted}" if wanted else ""
    if stops:
        names = _named([light for light, level in zip(lights, levels, strict=True) if level == "stop"])
        text = f"{when} is within the lock-out in {names}{settle}"
        return Reason(FACTOR, "caution", text, rules.cited(lock.stop_before_sunset))
    if cares:
        if len(lights) == 1:
            before = f"{when} is within {lock.caution_before_sunset.value:g} h of sunset ({_sun(lights[0], 'sunset')})"
            text = f"{before}: {lock.caution_before_sunset.because}"
        else:
            names = _named([light for light, level in zip(lights, levels, strict=True) if level == "caution"])
            text = f"{when} is within {lock.caution_before_sunset.value:g} h of sunset in {names}{settle}"
        return Reason(FACTOR, "caution", text, rules.cited(lock.caution_before_sunset))
    text = f"{when} is clear of the night-time lock-out"
    if len(lights) == 1:
        low, high = _open(rules, lights[0])
        text += f", which leaves {clock(low)} to {clock(high)}{_place(lights[0])}"
    return Reason(FACTOR, "go", text, rules.cited(lock.stop_before_sunset))


def judge_signs(rules: Rules, signs: Sequence[str]) -> list[Reason]:
    """A stop for each sign of an inversion. Raises SprayError for an unknown sign."""
    reasons = []
    for sign in dict.fromkeys(signs):
        if sign not in rules.facts.signs:
            raise SprayError(f"there is no sign {sign}; {nearest(sign, rules.facts.signs)}")
        seen = rules.facts.signs[sign]
        text = f"{seen.text}: the air near the ground is not mixing"
        reasons.append(Reason(FACTOR, "stop", text, rules.cited(seen)))
    return reasons


def _open(rules: Rules, light: Daylight) -> tuple[float, float]:
    """The hours between the morning and the evening lock-out; equal where there are none."""
    lock = rules.facts.inversion
    low = light.sunrise + lock.stop_after_sunrise.value
    return low, max(low, light.sunset - lock.stop_before_sunset.value)


def _level(rules: Rules, hour: float, lasts: float, light: Daylight) -> Level:
    lock = rules.facts.inversion

    def reaches(limit: float) -> bool:
        # A span ends before its end; a moment on the limit is in it.
        return hour >= limit or hour + lasts > limit

    low, high = _open(rules, light)
    if hour < low or reaches(high):
        return "stop"
    return "caution" if reaches(light.sunset - lock.caution_before_sunset.value) else "go"


def _stop_text(rules: Rules, when: str, hour: float, lights: Sequence[Daylight]) -> str:
    lock = rules.facts.inversion
    if len(lights) > 1:
        return f"{when} is within the lock-out in every month and state that it may be: {_why(rules, hour)}"
    light = lights[0]
    low, high = _open(rules, light)
    if hour < low:
        return (
            f"{when} is before {clock(low)}, {lock.stop_after_sunrise.value:g} h after sunrise "
            f"({_sun(light, 'sunrise')}): {lock.stop_after_sunrise.because}"
        )
    return (
        f"{when} {'is' if hour >= high else 'runs'} past {clock(high)}, {lock.stop_before_sunset.value:g} h before "
        f"sunset ({_sun(light, 'sunset')}): {lock.stop_before_sunset.because}"
    )


def _why(rules: Rules, hour: float) -> str:
    lock = rules.facts.inversion
    return lock.stop_after_sunrise.because if hour < 12 else lock.stop_before_sunset.because


def _sun(light: Daylight, end: str) -> str:
    extreme = {"sunrise": "at the latest ", "sunset": "at the earliest "}[end] if light.whole_month else ""
    return f"{extreme}{clock(getattr(light, end))}{_place(light)}"


def _place(light: Daylight) -> str:
    """Where and when sunrise and sunset were calculated."""
    if not light.where:
        return ""
    return f" by the sun at {light.where} {'in' if light.whole_month else 'on'} {light.when}"


def _named(lights: Sequence[Daylight]) -> str:
    """The months and capitals of some daylights, in few words."""
    whens = list(dict.fromkeys(light.when for light in lights))
    wheres = list(dict.fromkeys(light.where for light in lights))
    if len(wheres) == 1:
        return f"{', '.join(whens)} at {wheres[0]}"
    if len(whens) == 1:
        return f"{whens[0]} at {', '.join(wheres)}"
    return f"{len(lights)} of the months and places that it may be"
