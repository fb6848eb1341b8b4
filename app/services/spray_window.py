"""Whether to spray, for what a person told of a job: the plan's judgement and the weather's limits as one verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

from app.commands.advise import as_word, group_number
from app.commands.json_output import print_json
from app.present.plan import heading
from app.services.knowledge import load_advice
from app.services.labels import labels_read, split_actives
from model.control import Case, Control, JudgedOption, Use, judge_spraying, judge_spraying_day, plan
from model.control.facts import Near, Place, Stage
from model.errors import AnswerError, nearest
from model.spray import Day, Forecast, Occasion, Reason, Verdict, Weather, load_rules, read_forecast


@dataclass(frozen=True)
class Job:
    """What is to be sprayed where, checked.

    ``rain_fast``: hours off the label in hand. ``option``: what the plan made of these actives for the weed.
    """

    control: Control
    use: Use
    occasion: Occasion
    rain_fast: float | None = None
    option: JudgedOption | None = None
    besides: tuple[Reason, ...] = ()

    @classmethod
    def told(
        cls, actives: Sequence[str], month: int | None, state: str | None, lawn: str | None, cultivar: str | None,
        place: str, near: Sequence[str], used: Sequence[str], weed: str | None, stage: str | None, wipe: bool,
        rain_fast: float | None, sunrise: float | None, sunset: float | None,
    ) -> Job:  # fmt: skip
        """From the options of the command. Raises AnswerError for a word that is not known."""
        control = load_advice()
        use = Use(
            actives=tuple(dict.fromkeys(active_of(control, a) for text in actives for a in split_actives(text))),
            how="wipe" if wipe else "spray",
            lawn=_one_of("--lawn", lawn, control.lawns),
            place=_one_of("--place", place, get_args(Place)) or "lawn",  # type: ignore[arg-type]
            month=month,
            state=_one_of("--state", state.upper() if state else None, control.states, as_it_is=True),
            near=tuple(_one_of("--near", thing, get_args(Near)) for thing in near),  # type: ignore[misc]
            used=tuple(group_number(text) for text in used),
            labels=labels_read(),
        )
        if cultivar is not None:
            known = control.lawns[use.lawn].cultivars if use.lawn else {}
            if not known:
                raise AnswerError("--cultivar: give the lawn grass that it is of (--lawn buffalo)")
            use = use.with_cultivar(_one_of("--cultivar", cultivar, known))
        occasion = Occasion(state=use.state, month=month, sunrise=sunrise, sunset=sunset)
        job = cls(control, use, occasion, rain_fast)
        if stage is not None and weed is None:
            raise AnswerError("--stage is the weed's; name the weed too (--weed)")
        return job if weed is None else job.for_weed(weed, _one_of("--stage", stage, get_args(Stage)))

    def for_weed(self, weed: str, stage: str | None) -> Job:
        """The same, with the weed's season and what its plan makes of these actives."""
        from model.flora.name import PlantNames

        if self.use.month is None:
            raise AnswerError("--weed: its season is judged by the month; give --month too")
        use = self.use
        case = Case(
            species=(PlantNames(self.control.flora).the_species(weed),), month=self.use.month,
            lawn=use.lawn or "unknown", place=use.place, stage=stage, state=use.state, near=use.near,  # type: ignore[arg-type]
            used=use.used, cultivar=use.cultivar, labels=use.labels,
        )  # fmt: skip
        return self.in_case(case)

    def in_case(self, case: Case) -> Job:
        """The same, with the option of the case's plan that has these actives, put on in this way."""
        if not self.use.actives:
            return self
        made = plan(self.control, case)
        mine = [o for o in (*made.options, *made.only) if {a.name for a in o.actives} == set(self.use.actives)]
        mine = [o for o in mine if (o.method == "wipe") == (self.use.how == "wipe")]
        mine.sort(key=lambda option: option.use.how != self.use.how)
        if mine:
            return replace(self, use=mine[0].use, option=mine[0])
        text = f"the plan for {heading(made, self.control)} has nothing like this: see swardkey advise"
        flowering = [self.control.flora.species[s].season.flowers or () for s in case.species]
        blooming = case.stage == "flowering" if case.stage else any(case.month in months for months in flowering)
        remark = Reason("weed", "caution", text, "this tool's plans")
        return replace(self, use=replace(self.use, blooming=blooming), besides=(remark,))


def active_of(control: Control, name: str) -> str:
    """The active that a name means. Raises AnswerError for an unknown one."""
    found = control.active_named(name)
    if found is None:
        raise AnswerError(f"--active {name}: no such active is known; {nearest(name, control.actives)}")
    return found


def verdict_of(job: Job, weather: Weather, signs: Sequence[str] = ()) -> Verdict:
    """The verdict on one reading."""
    told = (job.occasion, signs, job.rain_fast, job.option, job.besides)
    return judge_spraying(job.control, load_rules(), job.use, weather, *told)


def day_of(job: Job, forecast: Forecast) -> Day:
    """The verdicts on the hours of a forecast."""
    told = (job.occasion, job.rain_fast, job.option, job.besides)
    return judge_spraying_day(job.control, load_rules(), job.use, forecast, *told)


def about(job: Job, forecast: Forecast) -> str:
    """What a figure of the hours is for: the actives, the state and the day, as far as they are known."""
    from app.present.finding import day_text

    where = job.control.states[job.use.state].name if job.use.state else ""
    day = day_text(forecast.day) if forecast.day is not None else ""
    return ", ".join(filter(None, (" + ".join(job.use.actives), where, day)))


def judge_now(job: Job, weather: Weather, signs: Sequence[str], as_json: bool) -> None:
    """Judge one reading and print it."""
    verdict = verdict_of(job, weather, signs)
    if as_json:
        print_json(verdict.as_json())
    else:
        from app.present.spray import print_verdict

        print_verdict(verdict)


def judge_file(job: Job, file: Path, figure: Path | None, as_json: bool) -> None:
    """Judge a forecast, draw it if asked, and print it."""
    if figure is not None:
        from app.figures.picture import check_ending

        check_ending(figure)
    forecast = read_forecast(file)
    day = day_of(job, forecast)
    if figure is not None:
        from app.figures.spray_hours import draw_hours

        draw_hours(day, load_rules(), figure, about(job, forecast))
    if as_json:
        print_json(day.as_json())
    else:
        from app.present.spray import print_day

        print_day(day)


def _one_of(what: str, text: str | None, known: Iterable[str], as_it_is: bool = False) -> str | None:
    if text is None:
        return None
    word = text.strip() if as_it_is else as_word(text)
    names = list(known)
    if word not in names:
        raise AnswerError(f"{what} {text}: not known; {nearest(word, names)}")
    return word
