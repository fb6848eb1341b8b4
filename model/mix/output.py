"""How much spray goes on an area: litres per hectare, measured in one of three ways; and test strips."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from model.mix.doubt import Doubt, doubt_about, doubt_about_output, positive
from model.mix.number import readable
from model.mix.result import Result, Rows

SQUARE_METRES_PER_HECTARE = 10_000


def _output(
    l_ha: float, working: tuple[str, ...], doubts: tuple[Doubt, ...], speed_km_h: float | None = None
) -> Result:
    figures = {"litres_per_hectare": l_ha, "litres_per_100m2": l_ha / 100, "speed_km_h": speed_km_h}
    rows: Rows = (("output", f"{readable(l_ha)} L/ha"), ("on 100 m2", f"{readable(l_ha / 100)} L"))
    if speed_km_h is not None:
        rows += (("speed", f"{readable(speed_km_h)} km/h"),)
    return Result(figures=figures, rows=rows, working=working, doubts=doubts + doubt_about_output(l_ha))


def output_from_area(litres: float, area_m2: float) -> Result:
    """The output when ``litres`` were used on ``area_m2``. Raises MixError unless both are more than 0."""
    litres, area_m2 = positive("a volume", litres, "L"), positive("an area", area_m2, "m2")
    found = litres * SQUARE_METRES_PER_HECTARE / area_m2
    working = f"{readable(litres)} L x 10,000 / {readable(area_m2)} m2 = {readable(found)} L/ha"
    return _output(found, (working,), doubt_about("area", area_m2))


def output_from_time(flow_l_min: float, seconds: Sequence[float], area_m2: float) -> Result:
    """The output when an area takes ``seconds`` to spray (the mean of several passes) at a flow in L/min.

    Raises MixError unless all are more than 0.
    """
    flow_l_min, mean = positive("a flow", flow_l_min, "L/min"), mean_time(seconds)
    litres, area_m2 = flow_l_min * mean / 60, positive("an area", area_m2, "m2")
    by_area = output_from_area(litres, area_m2)
    first = f"{readable(flow_l_min)} L/min x {readable(mean)} s / 60 = {readable(litres)} L"
    doubts = doubt_about("flow", flow_l_min) + doubt_about("area", area_m2)
    return _output(litres * SQUARE_METRES_PER_HECTARE / area_m2, (first, *by_area.working), doubts)


def output_from_speed(flow_l_min: float, speed_km_h: float, swath_m: float) -> Result:
    """The output at a flow (L/min, all nozzles), a speed (km/h) and a swath (m; a boomless nozzle: its pattern).

    Raises MixError unless all are more than 0.
    """
    flow_l_min = positive("a flow", flow_l_min, "L/min")
    speed_km_h, swath_m = positive("a speed", speed_km_h, "km/h"), positive("a swath", swath_m, "m")
    # 600 = 10,000 m2/ha x 60 min/h / 1000 m/km
    found = 600 * flow_l_min / (speed_km_h * swath_m)
    over = f"{readable(speed_km_h)} km/h x {readable(swath_m)} m"
    working = f"600 x {readable(flow_l_min)} L/min / ({over}) = {readable(found)} L/ha"
    doubts = doubt_about("flow", flow_l_min) + doubt_about("speed", speed_km_h) + doubt_about("swath", swath_m)
    return _output(found, (working,), doubts, speed_km_h)


def speed_over(course_m: float, seconds: Sequence[float]) -> float:
    """Speed in km/h over a course (m) walked in ``seconds`` (the mean of several walks).

    >>> round(speed_over(100, [60, 84]), 6)
    5.0
    """
    return 3.6 * positive("a course", course_m, "m") / mean_time(seconds)


def mean_time(seconds: Sequence[float]) -> float:
    """The mean of several timings, s. Raises MixError unless there is one and all are more than 0."""
    return fmean(positive("a time", time, "s") for time in seconds or [0])


def strip_length(area_m2: float, swath_m: float) -> Result:
    """How long a strip of one swath (m) is that covers ``area_m2``. Raises MixError unless both are more than 0."""
    area_m2, swath_m = positive("an area", area_m2, "m2"), positive("a swath", swath_m, "m")
    length = area_m2 / swath_m
    return Result(
        figures={"length_m": length},
        rows=(("length of the strip", f"{readable(length)} m"),),
        working=(f"{readable(area_m2)} m2 / {readable(swath_m)} m = {readable(length)} m",),
        doubts=doubt_about("area", area_m2) + doubt_about("swath", swath_m),
    )
