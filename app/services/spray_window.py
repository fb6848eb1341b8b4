"""Whether to spray: the plan's judgement of a use and the weather's limits as one verdict; and degree-days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal, get_args

from app.present.finding import day_text
from app.present.plan import heading
from app.services.choices import lawn_of, one_of
from app.services.knowledge import load_advice
from app.services.labels import labels_read, split_actives
from app.services.own_details import own_state
from model.control import Case, Control, JudgedOption, Use, judge_spraying, judge_spraying_day, plan
from model.control.facts import Near, Place, Stage
from model.control.judge import is_at
from model.errors import AnswerError, nearest
from model.flora.name import PlantNames
from model.spray import Day, Forecast, Occasion, Reason, SprayError, Verdict, Weather, load_rules, read_forecast
from model.spray.degree_days import Record, read_record
from model.spray.warmth import Warmth, load_warmth


@dataclass(frozen=True)
class Job:
    """What is to be sprayed where, checked.

    ``rain_fast``: hours off the label in hand. ``option``: what the plan made of these actives for the weed.
    ``besides``: further reasons, such as that no plan has these actives.
    """

    control: Control
    use: Use
    occasion: Occasion
    rain_fast: float | None = None
    option: JudgedOption | None = None
    besides: tuple[Reason, ...] = ()

    def for_weed(self, weed: str, stage: str | None) -> Job:
        """The same, with the weed's season and what its plan makes of these actives. Raises AnswerError."""
        use = self.use
        if use.month is None:
            raise AnswerError("--weed: its season is judged by the month; give --month too")
        case = Case(
            species=PlantNames(self.control.flora).the_plants_in([weed]), month=use.month,
            lawn=use.lawn or "unknown", place=use.place, stage=stage, state=use.state, near=use.near,  # type: ignore[arg-type]
            used=use.used, cultivar=use.cultivar, labels=use.labels,
        )  # fmt: skip
        return self.in_case(case)

    def in_case(self, case: Case) -> Job:
        """The same, with the option of the case's plan that has these actives, applied in this way."""
        if not self.use.actives:
            return self
        made = plan(self.control, case)
        mine = [o for o in (*made.options, *made.only) if {a.name for a in o.actives} == set(self.use.actives)]
        mine = [o for o in mine if (o.method == "wipe") == (self.use.how == "wipe")]
        mine.sort(key=lambda option: option.use.how != self.use.how)
        if mine:
            return replace(self, use=mine[0].use, option=mine[0])
        text = f"the plan for {heading(made, self.control)} has nothing like this: see swardkey advise"
        seasons = [self.control.flora.species[species].season for species in case.species]
        blooming = any(is_at("flowering", season, case.month, case.stage) for season in seasons)
        remark = Reason("weed", "caution", text, "this tool's plans")
        return replace(self, use=replace(self.use, blooming=blooming), besides=(remark,))


def verdict_of(job: Job, weather: Weather, signs: Sequence[str] = ()) -> Verdict:
    """The verdict on one reading. Raises SprayError for one that is impossible."""
    more = (job.occasion, signs, job.rain_fast, job.option, job.besides)
    return judge_spraying(job.control, load_rules(), job.use, weather, *more)


def day_of(job: Job, forecast: Forecast) -> Day:
    """The verdicts on the hours of a forecast."""
    more = (job.occasion, job.rain_fast, job.option, job.besides)
    return judge_spraying_day(job.control, load_rules(), job.use, forecast, *more)


def forecast_of(text: str) -> Forecast:
    """The hours of a forecast that was handed in as text. Raises SprayError naming row and column."""
    with TemporaryDirectory(prefix="swardkey-") as folder:
        file = Path(folder) / "forecast.csv"
        file.write_text(text, encoding="utf-8")
        try:
            return read_forecast(file)
        except SprayError as error:
            raise SprayError(str(error).replace(str(file), "forecast")) from None


def about(job: Job, forecast: Forecast) -> str:
    """What a figure of the hours is for: the actives, the state and the day, as far as they are known."""
    where = job.control.states[job.use.state].name if job.use.state else ""
    day = day_text(forecast.day) if forecast.day is not None else ""
    return ", ".join(filter(None, (" + ".join(job.use.actives), where, day)))


def job_of(
    *, actives: Sequence[str], wipe: bool, month: int | None, state: str | None, lawn: str | None,
    cultivar: str | None, place: str, near: Sequence[str], used: Sequence[int], weed: str | None, stage: str | None,
    rain_fast: float | None, sunrise: float | None, sunset: float | None,
) -> Job:  # fmt: skip
    """A job from the options of the command. Raises AnswerError for a word that is not known."""
    control, state = load_advice(), state or own_state()
    lawn, cultivar = lawn_of(control, lawn, cultivar)
    if lawn is not None:
        one_of("--lawn", lawn, control.lawns)
    if state is not None:
        one_of("--state", state, control.states)
    for thing in near:
        one_of("--near", thing, get_args(Near))
    if cultivar is not None:
        cultivars = control.lawns[lawn].cultivars if lawn else {}
        if not cultivars:
            raise AnswerError("--cultivar: give the lawn grass that it is of (--lawn buffalo)")
        one_of("--cultivar", cultivar, cultivars)
    if stage is not None:
        if weed is None:
            raise AnswerError("--stage is the weed's; name the weed too (--weed)")
        one_of("--stage", stage, get_args(Stage))
    use = Use(
        actives=tuple(dict.fromkeys(active_of(control, a) for text in actives for a in split_actives(text))),
        how="wipe" if wipe else "spray",
        lawn=lawn,
        place=one_of("--place", place, get_args(Place)),  # type: ignore[arg-type]
        month=month,
        state=state,
        near=tuple(near),  # type: ignore[arg-type]
        used=tuple(used),
        labels=labels_read(),
    )
    if cultivar is not None:
        use = use.with_cultivar(cultivar)
    job = Job(control, use, Occasion(state=state, month=month, sunrise=sunrise, sunset=sunset), rain_fast)
    return job if weed is None else job.for_weed(weed, stage)


def active_of(control: Control, name: str) -> str:
    """The active that a name means. Raises AnswerError for an unknown one."""
    found = control.active_named(name)
    if found is None:
        raise AnswerError(f"--active {name}: no such active is known; {nearest(name, control.actives)}")
    return found


def judge_forecast(job: Job, file: Path, figure: Path | None = None) -> Day:
    """Judge the hours of a forecast file, and draw them if asked. Raises SwardkeyError naming what is wrong."""
    from app.figures.picture import check_ending  # here and below: few forecasts are drawn
    from app.figures.spray_hours import draw_hours

    if figure is not None:
        check_ending(figure)
    forecast = read_forecast(file)
    day = day_of(job, forecast)
    if figure is not None:
        draw_hours(day, load_rules(), figure, about(job, forecast))
    return day


def degree_days(
    file: Path, base: float, unit: Literal["C", "F"], weed: str | None
) -> tuple[Record, Warmth, str | None]:
    """Degree-days of a file over a base in its unit, what is known of warmth, and the species of the weed."""
    species = PlantNames(load_advice().flora).the_usual(weed) if weed is not None else None
    return read_record(file, base, unit), load_warmth(), species
