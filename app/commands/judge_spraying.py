"""The commands `window` and `degree-days`: whether to spray now or today, and the warmth that weeds have had."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

import typer

from app.commands.json_output import print_json
from model.errors import AnswerError

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Signs = Annotated[
    list[str] | None,
    typer.Option("--signs", metavar="SIGN", help="Seen at the place: smoke, mist, sounds, clear_calm; repeatable."),
]
Reading = Annotated[float | None, typer.Option(metavar="C", help="Air temperature in shade, C.")]
Actives = Annotated[
    list[str] | None, typer.Option("--active", metavar="NAME", help="The active on the label; repeat it for a mix.")
]
Near = Annotated[list[str] | None, typer.Option("--near", help="As for advise; repeatable.")]
Used = Annotated[list[str] | None, typer.Option("--used", metavar="GROUP", help="As for advise.")]
Weed = Annotated[
    str | None, typer.Option("--weed", metavar="SPECIES", help="The weed: its season and its plan count too.")
]
RainFast = Annotated[float | None, typer.Option(metavar="HOURS", min=0, max=168, help="Rain-fast hours of the label.")]
ForecastFile = Annotated[
    Path | None, typer.Option(metavar="FILE", help="CSV: time, temperature, humidity, wind and, if there, rain.")
]
Clock = Annotated[str | None, typer.Option(metavar="TIME", help="By the local clock, such as 17:40.")]


def window(
    temperature: Reading = None,
    humidity: Annotated[float | None, typer.Option(metavar="PERCENT", help="Relative humidity.")] = None,
    wind: Annotated[float | None, typer.Option(metavar="KM_H", help="Wind at the place, km/h.")] = None,
    rain_in: Annotated[float | None, typer.Option(metavar="HOURS", help="Hours until rain.")] = None,
    active: Actives = None,
    hour: Annotated[str | None, typer.Option(metavar="H", help="Local clock: 17 or 17:30.")] = None,
    month: Annotated[int | None, typer.Option(min=1, max=12, help="Month, 1 to 12.")] = None,
    state: Annotated[str | None, typer.Option(help="Australian state or territory, such as NSW.")] = None,
    sunrise: Clock = None,
    sunset: Clock = None,
    lawn: Annotated[str | None, typer.Option(help="The lawn grass, or unknown.")] = None,
    cultivar: Annotated[str | None, typer.Option(help="Of a buffalo lawn, where it is known.")] = None,
    place: Annotated[str, typer.Option(help="lawn, bed or paving.")] = "lawn",
    near: Near = None,
    used: Used = None,
    weed: Weed = None,
    stage: Annotated[str | None, typer.Option(help="Of the weed: seedling, young, flowering or seeding.")] = None,
    wipe: Annotated[bool, typer.Option("--wipe", help="Wiped or dabbed onto single plants, not sprayed.")] = False,
    signs: Signs = None,
    rain_fast: RainFast = None,
    forecast: ForecastFile = None,
    figure: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw the day to an .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Say whether to spray: go, caution or stop, with every reason. The label in hand always wins.

    Give --temperature, --humidity and --wind as measured at the place, or a day's hours with --forecast. What advise
    rules out for the same lawn, state, month and place is stop here too.
    """
    from app.services.spray_window import Job, judge_file, judge_now

    job = Job.told(
        active or [], month, state, lawn, cultivar, place, near or [], used or [], weed, stage, wipe, rain_fast,
        _clock("--sunrise", sunrise), _clock("--sunset", sunset),
    )  # fmt: skip
    readings = {"--temperature": temperature, "--humidity": humidity, "--wind": wind}
    if forecast is not None:
        now = {**readings, "--rain-in": rain_in, "--hour": hour, "--signs": signs or None}
        _refuse_both(now)
        judge_file(job, forecast, figure, as_json)
        return
    if figure is not None:
        raise AnswerError("--figure draws the hours of a day; name them with --forecast")
    lacking = [name for name, value in readings.items() if value is None]
    if temperature is None or humidity is None or wind is None:
        raise AnswerError(f"nothing is judged without {' and '.join(lacking)}; measure on site, or give --forecast")
    from model.spray import Weather

    weather = Weather(temperature, humidity, wind, rain_in, _clock("--hour", hour))
    judge_now(job, weather, [_word(sign) for sign in signs or []], as_json)


def degree_days(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV: date, max and min, or date and mean.")],
    base: Annotated[float, typer.Option(metavar="DEGREES", help="Base temperature, in degrees of --unit.")],
    unit: Annotated[str, typer.Option(help="C or F: of the base and of the file.")] = "C",
    weed: Annotated[str | None, typer.Option(metavar="SPECIES", help="Only thresholds of this weed.")] = None,
    as_json: Json = False,
) -> None:
    """Add up degree-days from daily temperatures, and say where that stands against what was published.

    Only thresholds of the same base are compared, each with the model that it belongs to.
    """
    from app.present.degree_days import print_warmth, warmth_json
    from model.spray.degree_days import read_record
    from model.spray.warmth import load_warmth

    degrees: Literal["C", "F"]
    if unit.strip().upper() == "C":
        degrees = "C"
    elif unit.strip().upper() == "F":
        degrees = "F"
    else:
        raise AnswerError(f"--unit {unit}: not C or F; write one of the two")
    warmth = load_warmth()
    species = None
    if weed is not None:
        from app.services.knowledge import load_advice
        from model.flora.name import PlantNames

        species = PlantNames(load_advice().flora).the_species(weed)
    record = read_record(file, base, degrees)
    if as_json:
        print_json(warmth_json(record, warmth, species))
    else:
        print_warmth(record, warmth, species)


def _clock(option: str, text: str | None) -> float | None:
    from model.spray import SprayError, read_clock

    if text is None:
        return None
    try:
        return read_clock(text)
    except SprayError as error:
        raise AnswerError(f"{option}: {error}") from None


def _refuse_both(now: Mapping[str, object]) -> None:
    given = [name for name, value in now.items() if value is not None]
    if given:
        raise AnswerError(f"{' and '.join(given)} given with --forecast, which holds the hours; give one or the other")


def _word(text: str) -> str:
    return text.strip().casefold().replace(" ", "_").replace("-", "_")
