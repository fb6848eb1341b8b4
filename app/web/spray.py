"""Step 7: whether to spray now or in which hours, from readings or a forecast; and the sums."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from app.show_window import HEADLINES, LABEL_WINS, one_of_each, usable_sentence
from app.web import sums
from app.web.draft import Draft
from app.web.frame import Fields, FormError, number, one, several
from app.web.plan import chosen
from app.web.shed import Shed
from app.web.uploads import put_away
from model.errors import SwardkeyError
from model.spray import Day, Occasion, Verdict, Weather, judge, judge_day, read_clock, read_forecast

LONGEST_FORECAST = 200_000  # bytes; a day's hours are a few thousand


def show(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    told = {**defaults(shed, draft), **draft.weather}
    found: dict[str, Any] = {"verdict": None, "day": None, "fault": ""}
    try:
        if told["from"] == "forecast" and draft.forecast:
            found |= _day(judged_day(shed, draft), shed)
        elif told["temperature"]:
            found["verdict"] = judged(shed, draft)
    except SwardkeyError as error:
        found["fault"] = str(error)
    return {
        **found,
        "told": told,
        "actives": [(name, name) for name in sorted(shed.control.actives)],
        "states": [(key, state.name) for key, state in shed.control.states.items()],
        "signs": [(key, sign.question) for key, sign in shed.rules.facts.signs.items()],
        "headlines": HEADLINES,
        "label_wins": LABEL_WINS,
        "has_forecast": bool(draft.forecast),
        **sums.show(shed, draft),
    }


def defaults(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What is taken until something is told: the active of the plan, the state, the hour of now."""
    option = chosen(shed, draft) if draft.choice else None
    return {
        "from": "readings",
        "active": option.actives[0].name if option is not None and option.actives else "",
        "state": draft.lawn.get("state", ""),
        "temperature": "",
        "humidity": "",
        "wind": "",
        "rain_in": "",
        "hour": f"{datetime.now():%H:%M}",
        "rain_fast": "",
        "signs": [],
    }


def _occasion(shed: Shed, draft: Draft, told: dict[str, Any]) -> Occasion:
    return Occasion(state=told["state"] or None, month=draft.lawn.get("month") or draft.month)


def _spray(shed: Shed, told: dict[str, Any]) -> Any:
    from app.spraying import spray_of

    return spray_of(told["active"] or None, float(told["rain_fast"]) if told["rain_fast"] else None, shed.control)


def judged(shed: Shed, draft: Draft) -> Verdict:
    """The verdict on the readings of a draft. Raises SwardkeyError for what cannot be."""
    told = {**defaults(shed, draft), **draft.weather}
    weather = Weather(
        float(told["temperature"]),
        float(told["humidity"]),
        float(told["wind"]),
        float(told["rain_in"]) if told["rain_in"] else None,
        read_clock(told["hour"]) if told["hour"] else None,
    )
    lawn = draft.lawn.get("lawn")
    return judge(weather, shed.rules, _spray(shed, told), _occasion(shed, draft, told), told["signs"], lawn)


def judged_day(shed: Shed, draft: Draft) -> Day:
    """The verdicts on the hours of a draft's forecast. Raises SwardkeyError naming row and column."""
    import tempfile

    told = {**defaults(shed, draft), **draft.weather}
    with tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
        file = Path(folder) / "forecast.csv"
        file.write_text(draft.forecast, encoding="utf-8")
        try:
            forecast = read_forecast(file)
        except SwardkeyError as error:
            raise FormError(str(error).replace(str(file), "forecast")) from None
    return judge_day(forecast, shed.rules, _spray(shed, told), _occasion(shed, draft, told), draft.lawn.get("lawn"))


def _day(day: Day, shed: Shed) -> dict[str, Any]:
    from app.figures.picture import as_svg
    from app.figures.spray_hours import TITLE, hours_figure, in_words

    return {
        "day": day,
        "usable": usable_sentence(day),
        "day_why": one_of_each(day),
        "chart": as_svg(lambda: hours_figure(day, shed.rules), TITLE, in_words(day)),
    }


def weigh(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Judge the readings. Raises FormError or SprayError where one is missing or cannot be."""
    names = {"temperature": "Temperature", "humidity": "Humidity", "wind": "Wind"}
    missing = [called for name, called in names.items() if number(fields, name, called) is None]
    if missing:
        raise FormError(f"{' and '.join(missing)}: measure at the place and fill in; nothing is judged without.")
    after = replace(draft, weather=_told(fields) | {"from": "readings"})
    judged(shed, after)
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


def take_forecast(shed: Shed, draft: Draft, file: str) -> Draft:
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
    judged_day(shed, after)
    return after


def by_readings(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Back to readings at the place; the forecast is dropped."""
    return replace(draft, forecast="", weather={**draft.weather, "from": "readings"})


def to_record(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record."""
    return replace(draft, step="record")


ACTIONS = {"weigh": weigh, "by_readings": by_readings, "to_record": to_record, "sum": sums.work_out}
