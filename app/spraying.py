"""The commands `window` and `degree-days`: whether to spray now or today, and the warmth that weeds have had."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from app.printed import print_json
from model.errors import AnswerError, nearest

if TYPE_CHECKING:
    from model.control import Control
    from model.spray import Occasion, Rules, Spray

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Signs = Annotated[
    list[str] | None,
    typer.Option("--signs", metavar="SIGN", help="Seen at the place: smoke, mist, sounds, clear_calm; repeatable."),
]
Clock = Annotated[str | None, typer.Option(metavar="TIME", help="By the local clock, such as 17:40.")]


def window(
    temperature: Annotated[float | None, typer.Option(metavar="C", help="Air temperature in shade, C.")] = None,
    humidity: Annotated[float | None, typer.Option(metavar="PERCENT", help="Relative humidity.")] = None,
    wind: Annotated[float | None, typer.Option(metavar="KM_H", help="Wind at the place, km/h.")] = None,
    rain_in: Annotated[float | None, typer.Option(metavar="HOURS", help="Hours until rain.")] = None,
    active: Annotated[str | None, typer.Option(metavar="NAME", help="The active ingredient on the label.")] = None,
    hour: Annotated[str | None, typer.Option(metavar="H", help="Local clock: 17 or 17:30.")] = None,
    month: Annotated[int | None, typer.Option(min=1, max=12, help="Month, 1 to 12.")] = None,
    state: Annotated[str | None, typer.Option(help="Australian state or territory, such as NSW.")] = None,
    sunrise: Clock = None,
    sunset: Clock = None,
    lawn: Annotated[str | None, typer.Option(help="The lawn grass, or unknown.")] = None,
    signs: Signs = None,
    rain_fast: Annotated[
        float | None, typer.Option(metavar="HOURS", min=0, max=168, help="Rain-fast hours of the label.")
    ] = None,
    forecast: Annotated[
        Path | None, typer.Option(metavar="FILE", help="CSV: time, temperature, humidity, wind and, if there, rain.")
    ] = None,
    figure: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw the day to an .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Say whether to spray: go, caution or stop, with every reason. The label in hand always wins.

    Give --temperature, --humidity and --wind as measured at the place, or a day's hours with --forecast.
    """
    from model.spray import Occasion, Weather, judge, load_rules

    rules = load_rules()
    occasion = Occasion(
        state=state.strip().upper() if state else None,
        month=month,
        sunrise=_clock("--sunrise", sunrise),
        sunset=_clock("--sunset", sunset),
    )
    spray = spray_of(active, rain_fast)
    grass = lawn_of(lawn)
    readings = {"--temperature": temperature, "--humidity": humidity, "--wind": wind}
    if forecast is not None:
        now = {**readings, "--rain-in": rain_in, "--hour": hour, "--signs": signs or None}
        _refuse_both(now)
        judge_file(forecast, rules, spray, occasion, grass, figure, as_json)
        return
    if figure is not None:
        raise AnswerError("--figure draws the hours of a day; name them with --forecast")
    lacking = [name for name, value in readings.items() if value is None]
    if temperature is None or humidity is None or wind is None:
        raise AnswerError(
            f"nothing is judged without {' and '.join(lacking)}; measure at the place, or give --forecast"
        )
    weather = Weather(temperature, humidity, wind, rain_in, _clock("--hour", hour))
    verdict = judge(weather, rules, spray, occasion, [_word(sign) for sign in signs or []], grass)
    if as_json:
        print_json(verdict.as_json())
    else:
        from app.show_window import print_verdict

        print_verdict(verdict)


def judge_file(
    file: Path, rules: Rules, spray: Spray, occasion: Occasion, lawn: str | None, figure: Path | None, as_json: bool
) -> None:
    """Judge a forecast, draw it if asked, and print it."""
    from model.spray import judge_day, read_forecast

    if figure is not None:
        from app.figures.picture import check_ending

        check_ending(figure)
    day = judge_day(read_forecast(file), rules, spray, occasion, lawn)
    if figure is not None:
        from app.figures.spray_hours import draw_hours

        draw_hours(day, rules, figure)
    if as_json:
        print_json(day.as_json())
    else:
        from app.show_window import print_day

        print_day(day)


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
    from app.show_window import print_warmth, warmth_json
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
        from app.key import load_advice
        from model.flora.name import PlantNames

        species = PlantNames(load_advice().flora).the_species(weed)
    record = read_record(file, base, degrees)
    if as_json:
        print_json(warmth_json(record, warmth, species))
    else:
        print_warmth(record, warmth, species)


def find_active(name: str, control: Control | None = None) -> Spray:
    """What spraying must know of an active; ``control`` where it is loaded. Raises AnswerError for an unknown one."""
    from app.key import load_advice
    from model.flora.source import cite
    from model.spray import Spray

    control = control or load_advice()
    named = {key.casefold(): key for key in control.actives}
    for key, active in control.actives.items():
        named |= {other.casefold(): key for other in active.also_called}
    if name.strip().casefold() not in named:
        raise AnswerError(f"--active {name}: no such active is known; {nearest(name, control.actives)}")
    key = named[name.strip().casefold()]
    active, fast = control.actives[key], control.actives[key].rain_fast
    spray = Spray(key, volatile=active.volatile, pre_emergent=active.use == "pre_emergent")
    if fast is None:
        return spray
    return dataclasses.replace(spray, rain_fast=(fast.low, fast.high), cited=cite(control.flora.sources, fast))


def spray_of(active: str | None, rain_fast: float | None, control: Control | None = None) -> Spray:
    """What is to be sprayed; hours read off the label win over those that are published."""
    from model.spray import Spray

    spray = find_active(active, control) if active else Spray()
    if rain_fast is None:
        return spray
    return dataclasses.replace(spray, rain_fast=(rain_fast, rain_fast), cited="the label in hand")


def lawn_of(name: str | None) -> str | None:
    """The lawn grass by its id. Raises AnswerError for one that is not known."""
    if name is None:
        return None
    from app.key import load_advice

    lawns = load_advice().lawns
    if _word(name) not in lawns:
        raise AnswerError(f"--lawn {name}: no such lawn grass is known; {nearest(_word(name), lawns)}")
    return _word(name)


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
        raise AnswerError(f"{' and '.join(given)} told beside --forecast, which holds the hours; give one or the other")


def _word(text: str) -> str:
    return text.strip().casefold().replace(" ", "_").replace("-", "_")
