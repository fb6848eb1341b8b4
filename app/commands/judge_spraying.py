"""The commands `window` and `degree-days`: whether to spray now or today, and the warmth that weeds have had."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from app.commands.json_output import Json, answer
from app.commands.options import (
    CLOCK,
    LAWN,
    AnyMonth,
    Cultivar,
    Figure,
    Near,
    Place,
    Stage,
    State,
    Used,
    option,
    parsed,
    word,
)
from app.present.degree_days import print_warmth, warmth_json
from app.present.spray import print_day, print_verdict
from app.services.choices import DEGREES, PERCENT, SPEED, number_in
from app.services.spray_window import degree_days as add_up
from app.services.spray_window import job_of, judge_forecast, verdict_of
from model.errors import AnswerError
from model.spray import Weather

Time = Annotated[
    float | None, option("TIME", "By the local clock, such as 17:40; an inversion is likely near it.", parser=CLOCK)
]
Weed = Annotated[str | None, option("SPECIES", "The weed: its season and plan count too.", "--weed")]


def window(
    temperature: Annotated[
        float | None, option("C", "Air temperature in the shade.", parser=parsed(number_in(*DEGREES)))
    ] = None,
    humidity: Annotated[
        float | None, option("PERCENT", "Relative humidity.", parser=parsed(number_in(*PERCENT)))
    ] = None,
    wind: Annotated[float | None, option("KM_H", "Wind on site.", parser=parsed(number_in(*SPEED)))] = None,
    rain_in: Annotated[float | None, option("HOURS", "Hours until rain.")] = None,
    active: Annotated[list[str] | None, option("NAME", "The active on the label; repeat it for a mix.")] = None,
    hour: Annotated[float | None, option("H", "By the local clock: 17 or 17:30.", parser=CLOCK)] = None,
    month: AnyMonth = None,
    state: State = None,
    sunrise: Time = None,
    sunset: Time = None,
    lawn: Annotated[str | None, LAWN] = None,
    cultivar: Cultivar = None,
    place: Place = "lawn",
    near: Near = None,
    used: Used = None,
    weed: Weed = None,
    stage: Stage = None,
    wipe: Annotated[bool, typer.Option("--wipe", help="Wiped or dabbed onto single plants, not sprayed.")] = False,
    signs: Annotated[
        list[str] | None,
        word("--signs", "SIGN", "Of an inversion, seen on site: smoke, mist, sounds, clear_calm; repeatable."),
    ] = None,
    rain_fast: Annotated[float | None, option("HOURS", "Rain-fast hours of the label.", min=0, max=168)] = None,
    forecast: Annotated[
        Path | None, option("FILE", "CSV: time, temperature, humidity, wind and, if given, rain.")
    ] = None,
    figure: Figure = None,
    as_json: Json = False,
) -> None:
    """Say whether to spray: go, caution or stop, with every reason. The label in hand always overrides it.

    Give --temperature, --humidity and --wind as measured on site, or a day's hours with --forecast. What advise
    rules out for the same lawn, state, month and place is stop here too.

    Examples:
        swardkey window --temperature 20 --humidity 55 --wind 8 --active MCPA --lawn couch --hour 10
        swardkey window --forecast tomorrow.csv --active MCPA
    """
    job = job_of(
        actives=active or (), wipe=wipe, month=month, state=state, lawn=lawn, cultivar=cultivar, place=place,
        near=near or (), used=used or (), weed=weed, stage=stage, rain_fast=rain_fast, sunrise=sunrise, sunset=sunset,
    )  # fmt: skip
    readings = {"--temperature": temperature, "--humidity": humidity, "--wind": wind}
    if forecast is not None:
        now = {**readings, "--rain-in": rain_in, "--hour": hour, "--signs": signs or None}
        if given := [name for name, value in now.items() if value is not None]:
            both = f"{' and '.join(given)} given with --forecast"
            raise AnswerError(f"{both}, which holds the hours; give one or the other")
        day = judge_forecast(job, forecast, figure)
        answer(as_json, day.as_json(), lambda: print_day(day))
        return
    if figure is not None:
        raise AnswerError("--figure draws the hours of a day; give them with --forecast")
    if temperature is None or humidity is None or wind is None:
        missing = " and ".join(name for name, value in readings.items() if value is None)
        raise AnswerError(f"there is no verdict without {missing}; measure on site, or give --forecast")
    verdict = verdict_of(job, Weather(temperature, humidity, wind, rain_in, hour), signs or ())
    answer(as_json, verdict.as_json(), lambda: print_verdict(verdict))


def degree_days(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV: date, max and min, or date and mean.")],
    base: Annotated[float, option("DEGREES", "Base temperature, in degrees of --unit.")],
    unit: Annotated[
        Literal["C", "F"], typer.Option(case_sensitive=False, metavar="C|F", help="Of the base and of the file.")
    ] = "C",
    weed: Annotated[str | None, option("SPECIES", "Only the thresholds of this weed.")] = None,
    as_json: Json = False,
) -> None:
    """Add up degree-days from daily temperatures, and compare the total with published thresholds.

    Only thresholds of the same base are compared, each with the model that it belongs to.

    Examples:
        swardkey degree-days temperatures.csv --base 10 --weed "winter grass"
    """
    record, warmth, species = add_up(file, base, unit, weed)
    answer(as_json, warmth_json(record, warmth, species), lambda: print_warmth(record, warmth, species))
