"""Step 7: whether to spray now or in which hours, from readings or a forecast; and the sums."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from app.present.show_window import LABEL_WINS, headline, one_of_each, usable_sentence
from app.services.choices import clock_time
from app.services.labels import split_actives
from app.services.spray_window import Job, about, active_of, day_of, forecast_of, verdict_of
from app.web import sums_page as sums
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, number, one, several
from app.web.lawn_page import case_of
from app.web.plan_page import chosen
from app.web.uploads import put_away
from model.control import Use
from model.errors import SwardkeyError
from model.spray import Occasion, Verdict, Weather

LONGEST_FORECAST = 200_000  # bytes; a day's hours are a few thousand


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    told = {**defaults(context, draft), **draft.weather}
    found: dict[str, Any] = {"verdict": None, "day": None, "fault": ""}
    try:
        if told["from"] == "forecast" and draft.forecast:
            found |= _day(context, draft, told)
        elif told["temperature"]:
            found["verdict"] = judged(context, draft)
    except SwardkeyError as error:
        found["fault"] = str(error)
    return {
        **found,
        "told": told,
        "actives": [(mix, mix) for mix in dict.fromkeys((*_mix(context, draft), *sorted(context.control.actives)))],
        "states": [(key, state.name) for key, state in context.control.states.items()],
        "signs": [(key, sign.question) for key, sign in context.rules.facts.signs.items()],
        "headline": headline(found["verdict"]) if found["verdict"] is not None else "",
        "label_wins": LABEL_WINS,
        "has_forecast": bool(draft.forecast),
        **sums.show(context, draft),
    }


def defaults(context: Context, draft: Draft) -> dict[str, Any]:
    """What is taken until something is told: the active of the plan, the state, the hour of now."""
    return {
        "from": "readings",
        "active": next(iter(_mix(context, draft)), ""),
        "state": draft.lawn.get("state", ""),
        "temperature": "",
        "humidity": "",
        "wind": "",
        "rain_in": "",
        "hour": f"{datetime.now():%H:%M}",
        "rain_fast": "",
        "signs": [],
    }


def _mix(context: Context, draft: Draft) -> list[str]:
    """The actives of what was chosen, as one mix; none where nothing was."""
    option = chosen(context, draft) if draft.choice else None
    return [option.mix] if option is not None and option.actives else []


def _job(context: Context, draft: Draft, told: dict[str, Any]) -> Job:
    """What is to be sprayed, on this lawn, with what the plan makes of it."""
    case = replace(case_of(context, draft), state=told["state"] or None)
    actives = tuple(active_of(context.control, name) for name in split_actives(told["active"]))
    use = Use(
        actives=actives, lawn=case.lawn, cultivar=case.cultivar, place=case.place, month=case.month, state=case.state,
        near=case.near, used=case.used, labels=case.labels,
    )  # fmt: skip
    occasion = Occasion(state=case.state, month=case.month)
    job = Job(context.control, use, occasion, float(told["rain_fast"]) if told["rain_fast"] else None)
    option = chosen(context, draft) if draft.choice else None
    if option is not None and set(actives) == {active.name for active in option.actives}:
        job = replace(job, use=replace(option.use, state=case.state))
        if option.use.state == case.state:
            return replace(job, option=option)
    return job.in_case(case) if actives else job


def judged(context: Context, draft: Draft) -> Verdict:
    """The verdict on the readings of a draft. Raises SwardkeyError for what cannot be."""
    told = {**defaults(context, draft), **draft.weather}
    weather = Weather(
        float(told["temperature"]),
        float(told["humidity"]),
        float(told["wind"]),
        float(told["rain_in"]) if told["rain_in"] else None,
        clock_time(told["hour"]) if told["hour"] else None,
    )
    return verdict_of(_job(context, draft, told), weather, told["signs"])


def _day(context: Context, draft: Draft, told: dict[str, Any]) -> dict[str, Any]:
    from app.figures.picture import as_svg
    from app.figures.spray_hours import TITLE, hours_figure, in_words

    job, forecast = _job(context, draft, told), forecast_of(draft.forecast)
    day, words = day_of(job, forecast), about(job, forecast)
    return {
        "day": day,
        "usable": usable_sentence(day),
        "day_why": one_of_each(day),
        "chart": as_svg(lambda: hours_figure(day, context.rules, words), TITLE, in_words(day, words)),
    }


def weigh(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Judge the readings. Raises FormError or SprayError where one is missing or cannot be."""
    names = {"temperature": "Temperature", "humidity": "Humidity", "wind": "Wind"}
    missing = [called for name, called in names.items() if number(fields, name, called) is None]
    if missing:
        raise FormError(f"{' and '.join(missing)}: measure on site and fill in; nothing is judged without.")
    after = replace(draft, weather=_told(fields) | {"from": "readings"})
    judged(context, after)
    return after


def _told(fields: Fields) -> dict[str, Any]:
    texts = {name: one(fields, name) for name in ("active", "state", "hour")}
    for name, called in (
        ("temperature", "Temperature"),
        ("humidity", "Humidity"),
        ("wind", "Wind"),
        ("rain_in", "Hours until rain"),
        ("rain_fast", "Rain-fast hours"),
    ):
        value = number(fields, name, called)
        texts[name] = "" if value is None else f"{value:g}"
    return {**texts, "signs": list(several(fields, "signs"))}


def take_forecast(context: Context, draft: Draft, file: str) -> Draft:
    """The hours of a forecast file. Raises FormError or SprayError naming what is wrong; the upload is removed."""
    path = Path(file)
    try:
        if path.stat().st_size > LONGEST_FORECAST:
            raise FormError(f"{path.name}: is too long for the hours of a day; keep one day in the file")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise FormError(f"{path.name}: is not text; save the forecast as CSV") from None
    finally:
        put_away(path)
    after = replace(draft, forecast=text, weather={**draft.weather, "from": "forecast"})
    day_of(_job(context, after, {**defaults(context, after), **after.weather}), forecast_of(after.forecast))
    return after


def by_readings(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Back to readings at the place; the forecast is dropped."""
    return replace(draft, forecast="", weather={**draft.weather, "from": "readings"})


def to_record(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record."""
    return replace(draft, step="record")


ACTIONS = {"weigh": weigh, "by_readings": by_readings, "to_record": to_record, "sum": sums.work_out}
