"""How much spray goes on an area: litres per hectare, measured in one of three ways; and test strips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from model.mix.doubt import positive, weigh, weigh_output
from model.mix.number import said
from model.mix.result import Figures, Result

SQUARE_METRES_PER_HECTARE = 10_000


@dataclass(frozen=True, kw_only=True)
class Output(Result):
    """The output of a sprayer, L/ha; with the walking or driving speed where it was told."""

    litres_per_hectare: float
    speed_km_h: float | None = None

    @property
    def figures(self) -> Figures:
        return {
            "litres_per_hectare": self.litres_per_hectare,
            "litres_per_100m2": self.litres_per_hectare / 100,
            "speed_km_h": self.speed_km_h,
        }

    @property
    def told(self) -> list[tuple[str, str]]:
        rows = [
            ("output", f"{said(self.litres_per_hectare)} L/ha"),
            ("on 100 m2", f"{said(self.litres_per_hectare / 100)} L"),
        ]
        return rows + ([("speed", f"{said(self.speed_km_h)} km/h")] if self.speed_km_h is not None else [])


@dataclass(frozen=True, kw_only=True)
class Strip(Result):
    """How far to walk at one swath to cover a test area."""

    length_m: float

    @property
    def figures(self) -> Figures:
        return {"length_m": self.length_m}

    @property
    def told(self) -> list[tuple[str, str]]:
        return [("length of the strip", f"{said(self.length_m)} m")]


def output_from_area(litres: float, area_m2: float) -> Output:
    """The output when ``litres`` were used on ``area_m2``. Raises MixError unless both are more than 0."""
    litres, area_m2 = positive("a volume", litres, "L"), positive("an area", area_m2, "m2")
    found = litres * SQUARE_METRES_PER_HECTARE / area_m2
    return Output(
        litres_per_hectare=found,
        working=(f"{said(litres)} L x 10,000 / {said(area_m2)} m2 = {said(found)} L/ha",),
        doubts=weigh("area", area_m2) + weigh_output(found),
    )


def output_from_time(flow_l_min: float, seconds: Sequence[float], area_m2: float) -> Output:
    """The output when an area takes ``seconds`` to spray (the mean of several passes) at a flow in L/min.

    Raises MixError unless all are more than 0.
    """
    flow_l_min, mean = positive("a flow", flow_l_min, "L/min"), mean_time(seconds)
    litres = flow_l_min * mean / 60
    found = output_from_area(litres, area_m2)
    first = f"{said(flow_l_min)} L/min x {said(mean)} s / 60 = {said(litres)} L"
    return Output(
        litres_per_hectare=found.litres_per_hectare,
        working=(first, *found.working),
        doubts=weigh("flow", flow_l_min) + found.doubts,
    )


def output_from_speed(flow_l_min: float, speed_km_h: float, swath_m: float) -> Output:
    """The output at a flow (L/min, all nozzles), a speed (km/h) and a swath (m; a boomless nozzle: its pattern).

    Raises MixError unless all are more than 0.
    """
    flow_l_min = positive("a flow", flow_l_min, "L/min")
    speed_km_h, swath_m = positive("a speed", speed_km_h, "km/h"), positive("a swath", swath_m, "m")
    # 600 = 10,000 m2/ha x 60 min/h / 1000 m/km
    found = 600 * flow_l_min / (speed_km_h * swath_m)
    told = f"600 x {said(flow_l_min)} L/min / ({said(speed_km_h)} km/h x {said(swath_m)} m) = {said(found)} L/ha"
    doubts = weigh("flow", flow_l_min) + weigh("speed", speed_km_h) + weigh("swath", swath_m)
    return Output(
        litres_per_hectare=found,
        speed_km_h=speed_km_h,
        working=(told,),
        doubts=doubts + weigh_output(found),
    )


def speed_over(course_m: float, seconds: Sequence[float]) -> float:
    """Speed in km/h over a course (m) walked in ``seconds`` (the mean of several walks).

    >>> round(speed_over(100, [60, 84]), 6)
    5.0
    """
    return 3.6 * positive("a course", course_m, "m") / mean_time(seconds)


def mean_time(seconds: Sequence[float]) -> float:
    """The mean of several timings, s. Raises MixError unless there is one and all are more than 0."""
    if not seconds:
        return positive("a time", 0, "s")
    return fmean(positive("a time", time, "s") for time in seconds)


def strip_length(area_m2: float, swath_m: float) -> Strip:
    """How long a strip of one swath (m) is that covers ``area_m2``. Raises MixError unless both are more than 0."""
    area_m2, swath_m = positive("an area", area_m2, "m2"), positive("a swath", swath_m, "m")
    length = area_m2 / swath_m
    return Strip(
        length_m=length,
        working=(f"{said(area_m2)} m2 / {said(swath_m)} m = {said(length)} m",),
        doubts=weigh("area", area_m2) + weigh("swath", swath_m),
    )
