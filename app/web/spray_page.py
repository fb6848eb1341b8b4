"""Step 7: whether to spray now or in which hours, from readings or a forecast; and the sums."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from app.present.block import References
from app.present.spray import LABEL_WINS, headline, one_of_each, reasons, usable
from app.services.choices import clock_time
from app.services.spray_window import Job, about, day_of, forecast_of, verdict_of
from app.web import sums_page as sums
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import Fields, FormError, go_to, number, one, several
from app.web.lawn_page import case_of, cultivar_of, defaults, near_words
from app.web.plan_page import chosen, to_spray
from app.web.uploads import remove_upload
from model.control.case import check_case
from model.errors import SwardkeyError
from model.spray import Occasion, Verdict, Weather

STEP = Step("Spray", 70)

LONGEST_FORECAST = 200_000  # bytes; a day's hours are a few thousand
NUMBERS = {
    "temperature": "Temperature",
    "humidity": "Humidity",
    "wind": "Wind",
    "rain_in": "Hours until rain",
    "rain_fast": "Rain-fast hours",
}
NEEDED = ("temperature", "humidity", "wind")


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    given = _given(context, draft)
    found: dict[str, Any] = {"word": "", "headline": [], "reasons": [], "chart": "", "fault": ""}
    try:
        if given["from"] == "forecast" and draft.forecast:
            found |= _day(context, draft)
        elif given["temperature"]:
            verdict = judged(context, draft)
            found |= {"word": verdict.word, "headline": [headline(verdict)], "reasons": reasons(verdict.reasons)}
    except SwardkeyError as error:
        found["fault"] = str(error)
    mix = [given["active"]] if given["active"] else []
    return {
        **found,
        "references": References({}),
        "given": given,
        "actives": [(name, name) for name in dict.fromkeys((*mix, *sorted(context.control.actives)))],
        "tool": draft.way in ("check", "sums") and not draft.of_visit,
        "only_sums": draft.way == "sums",
        "lawn": {**defaults(draft), **draft.lawn},
        **context.lists,
        "near": near_words(),
        "signs": [(key, sign.question) for key, sign in context.rules.facts.signs.items()],
        "label_wins": LABEL_WINS,
        **sums.show(context, draft),
    }


def _given(context: Context, draft: Draft) -> dict[str, Any]:
    """What was typed; until then the active of the plan, the state of the lawn, and the present time."""
    option = chosen(context, draft) if draft.choice else None
    return {
        "from": "readings",
        "active": option.mix if option is not None and option.actives else "",
        "state": draft.lawn.get("state", ""),
        "hour": f"{datetime.now():%H:%M}",
        "signs": [],
        **dict.fromkeys(NUMBERS, ""),
        **draft.weather,
    }


def _job(context: Context, draft: Draft) -> Job:
    """What is to be sprayed, on this lawn, with what the plan makes of it."""
    use, option = to_spray(context, draft)
    rain_fast = draft.weather.get("rain_fast", "")
    occasion = Occasion(state=use.state, month=use.month)
    job = Job(context.control, use, occasion, float(rain_fast) if rain_fast else None, option)
    case = replace(case_of(context, draft), state=use.state)
    return job if option is not None or not case.species else job.in_case(case)


def judged(context: Context, draft: Draft) -> Verdict:
    """The verdict on the readings of a draft. Raises SwardkeyError for what cannot be."""
    given = _given(context, draft)
    temperature, humidity, wind = (float(given[name]) for name in NEEDED)
    rain_in = float(given["rain_in"]) if given["rain_in"] else None
    hour = clock_time(given["hour"]) if given["hour"] else None
    weather = Weather(temperature, humidity, wind, rain_in, hour)
    return verdict_of(_job(context, draft), weather, given["signs"])


def _day(context: Context, draft: Draft) -> dict[str, Any]:
    from app.figures.picture import as_svg
    from app.figures.spray_hours import TITLE, hours_figure, in_words

    job, forecast = _job(context, draft), forecast_of(draft.forecast)
    day, title = day_of(job, forecast), about(job, forecast)
    chart = as_svg(lambda: hours_figure(day, context.rules, title), TITLE, in_words(day, title))
    return {"headline": [usable(day)], "reasons": reasons(one_of_each(day)), "chart": chart}


def weigh(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Judge the readings. Raises FormError or SprayError where one is missing or cannot be."""
    numbers = {name: number(fields, name, called) for name, called in NUMBERS.items()}
    missing = [NUMBERS[name] for name in NEEDED if numbers[name] is None]
    if missing:
        raise FormError(f"{' and '.join(missing)}: measure on site and fill in; there is no verdict without them.")
    weather = {name: one(fields, name) for name in ("state", "hour")}
    weather["active"] = " + ".join(filter(None, (one(fields, "active"), one(fields, "with"))))
    weather |= {name: "" if value is None else f"{value:g}" for name, value in numbers.items()}
    after = replace(draft, weather={**weather, "signs": list(several(fields, "signs")), "from": "readings"})
    if draft.way == "check" and "lawn" in fields:
        where: dict[str, Any] = {name: one(fields, name) for name in ("lawn", "place")}
        where |= {"near": list(several(fields, "near")), "cultivar": cultivar_of(fields)}
        after = replace(after, lawn={**draft.lawn, **where})
        # Any weed: only what was typed of the place is in question.
        check_case(replace(case_of(context, after), species=tuple(context.control.treatments)[:1]), context.control)
    judged(context, after)
    return after


def take_forecast(context: Context, draft: Draft, files: Sequence[Path]) -> tuple[Draft, list[str]]:
    """The hours of a forecast file. Raises FormError or SprayError naming what is wrong; the upload is removed."""
    path = next(iter(files), Path())
    try:
        if path.stat().st_size > LONGEST_FORECAST:
            raise FormError(f"{path.name}: is too long for one day of hourly figures; keep one day in the file")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise FormError(f"{path.name}: is not text; save the forecast as CSV") from None
    finally:
        remove_upload(path)
    after = replace(draft, forecast=text, weather={**draft.weather, "from": "forecast"})
    day_of(_job(context, after), forecast_of(after.forecast))
    return after, []


def by_readings(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Back to readings taken on site; the forecast is dropped."""
    return replace(draft, forecast="", weather={**draft.weather, "from": "readings"})


ACTIONS = {"weigh": weigh, "by_readings": by_readings, "to_record": go_to("record"), "sum": sums.work_out}
