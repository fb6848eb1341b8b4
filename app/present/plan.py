"""A plan in words: what to do now, what later, what not, and what must be said beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.figures.year_strip import strip_rows
from app.present.block import (
    Active,
    Block,
    Bullets,
    Calendar,
    Card,
    Paragraph,
    References,
    Section,
    Words,
    bullets,
    capital,
    cited,
)
from app.present.finding import month_name
from model.control import Control, JudgedOption, Plan, Year
from model.control.option import UsedActive
from model.control.use import Suited
from model.control.year import spans
from model.text import listed

LAWN = {
    "safe": "lawn: safe",
    "caution": "lawn: caution",
    "unknown": "lawn: unknown, so caution",
    "injures": "lawn: injures",
}


def print_plan(plan: Plan, control: Control) -> None:
    """Print a whole plan for a person."""
    # Only the terminal loads the library that it prints with.
    from app.present.console import print_blocks

    title = Paragraph((heading(plan, control),), "strong")
    print_blocks((title, *what_to_do(plan, control), *beside(plan)), References(control.flora.sources))


def heading(plan: Plan, control: Control) -> str:
    """What the plan is for, in one line."""
    return f"{all_names(plan, control)}: {place_and_month(plan, control)}"


def place_and_month(plan: Plan, control: Control) -> str:
    """Where and when the plan holds."""
    place = {"lawn": f"{control.lawns[plan.case.lawn].name} lawn", "bed": "bed", "paving": "paving"}
    if plan.case.place == "lawn" and plan.case.lawn == "unknown":
        place["lawn"] = "lawn of unknown grass"
    return f"{place[plan.case.place]}, {month_name(plan.case.month)}"


def names(species: Sequence[str], control: Control, together: bool = False) -> str:
    """Plants by their common names."""
    return listed([control.flora.species[one].common_name for one in species], together)


def all_names(plan: Plan, control: Control) -> str:
    """All plants of a plan: those that grow together, or those that it may be."""
    return names(plan.case.species, control, plan.case.together)


def what_to_do(plan: Plan, control: Control) -> tuple[Block, ...]:
    """The whole plan, but for cautions and law."""
    return (
        *summary(plan),
        *about(plan, control),
        first(plan),
        *options(plan, control),
        only_for_some(plan, control),
        *differences(plan, control),
        ruled_out(plan),
    )


def summary(plan: Plan) -> tuple[Paragraph, ...]:
    """The plan in two lines at most."""
    return tuple(Paragraph((line,), "strong") for line in plan.summary)


def about(plan: Plan, control: Control) -> tuple[Bullets, ...]:
    """What must be known of the plant; of a shortlist, of which plant."""
    several = len(plan.case.species) > 1
    whose: dict[str, list[str]] = {}
    for species, said in plan.about:
        whose.setdefault(said.text, []).append(species)
    return bullets(
        cited(said, f"{capital(names(whose[text], control))}: {text}" if several else None)
        for text, said in {said.text: said for _, said in plan.about}.items()
    )


def first(plan: Plan) -> Section:
    """What comes before anything else, as the plant carries seed."""
    return Section("First of all", bullets(cited(said) for said in plan.first))


def options(plan: Plan, control: Control, brief: bool = False) -> tuple[Section, ...]:
    """What suits now, and what suits later or on a condition. ``brief``: as card() has it."""
    titles: dict[Suited, str] = {
        "yes": f"What to do now, in {month_name(plan.case.month)}",
        "wait": "What to do later, or on a condition",
    }
    found = []
    for suited, title in titles.items():
        blocks = _cards(plan.by(suited), control, brief)
        if blocks and suited == "yes" and len(plan.case.species) > 1:
            to_what = (
                "One pass for all of them" if plan.case.together else "This applies to every weed it could still be"
            )
            blocks.insert(0, Paragraph((f"{to_what}: {all_names(plan, control)}.",)))
        found.append(Section(title, tuple(blocks)))
    return tuple(found)


def only_for_some(plan: Plan, control: Control, brief: bool = False) -> Section:
    """What suits some plants of a shortlist only."""
    suited = [option for option in plan.only if option.suited != "no"]
    title = "Only for some of them" if plan.case.together else "Only for some of them, so work out which it is first"
    return Section(title, tuple(_cards(suited, control, brief, whose=True)))


def _cards(suited: Sequence[JudgedOption], control: Control, brief: bool, whose: bool = False) -> list[Block]:
    """Options one below the other, after what holds for every herbicide among them."""
    shared = _shared(suited, brief)
    begin = [Paragraph(("For every herbicide under this heading:", *shared))] if shared else []
    return [*begin, *(card(option, control, brief, without=shared, whose=whose) for option in suited)]


def differences(plan: Plan, control: Control) -> tuple[Bullets, ...]:
    """What tells the candidates of a shortlist apart, a line a pair."""
    return bullets(f"{capital(names((p.one, p.other), control))}? {p.note}" for p in plan.distinctions)


def ruled_out(plan: Plan) -> Section:
    """What is ruled out, the reason first; each line once."""
    out = [option for option in (*plan.options, *plan.only) if option.suited == "no"]
    lines = dict.fromkeys(cited(option.against[0], capital(option.ruled_out)) for option in out)
    return Section("Ruled out here, and why", bullets(lines, "small"), folded=True)


def calendars(plan: Plan, control: Control) -> tuple[Calendar, ...]:
    """The years of the plants, without the methods that are ruled out here."""
    suited = {option.method for option in (*plan.options, *plan.only) if option.suited != "no"}
    years = (replace(y, best={m: months for m, months in y.best.items() if m in suited}) for y in plan.years)
    return tuple(calendar(year, control, plan.case.month) for year in years)


def calendar(year: Year, control: Control, month: int | None = None) -> Calendar:
    """The year of a plant: what it does, and when each method is at its best."""
    return Calendar(control.flora.species[year.species].common_name, tuple(strip_rows(control, year)), month)


def cautions(plan: Plan) -> Section:
    """What holds for every one of them."""
    return Section("Cautions", bullets((cited(said) for said in plan.cautions), "small"), folded=True)


def law(plan: Plan) -> Section:
    """What the state asks for where a herbicide is used."""
    return Section("Law", bullets((cited(said) for said in plan.law), "small"), folded=True)


def beside(plan: Plan) -> tuple[Section, ...]:
    """What must be said beside the plan."""
    traps = bullets((cited(said) for said in plan.traps), "small")
    return Section("About the name of the lawn grass", traps, folded=True), cautions(plan), law(plan)


def option_key(option: JudgedOption, whose: bool = False) -> str:
    """What names an option among the others; with its plants where it is for some of a shortlist only."""
    whom = ["of", *option.species] if whose else []
    return "+".join([option.method, *(active.name for active in option.actives), *whom])


def card(
    option: JudgedOption, control: Control, brief: bool = False, without: Sequence[Words] = (), whose: bool = False
) -> Card:
    """An option: what to do, with what, and why or why not yet.

    ``brief``: for the homeowner, who needs the lawn and what calls for care, and of what waits only why and until when.
    ``without``: what was said once for all of them. ``whose``: it is for its own plants only.
    """
    do: list[Words] = [cited(reason, reason.whole) for reason in option.do]
    waits = brief and option.suited == "wait"
    if waits:
        do = [cited(r, r.whole) for r in option.against]
    elif option.out:
        do.append(f"Remove: {', '.join(option.out)}.")
    points = [point for point in _points(option, brief) if not (option.actives and point in without)]
    if option.leaves and not waits:
        points.append(f"What it won't fix: {not_fixed(option.leaves)}.")
    again = f" Check again after {option.look_again[0]} to {option.look_again[1]} days." if option.look_again else ""
    best = f"Best months: {spans(option.months) if option.months else 'none that suits all of them'}."
    foot = f"{best}{again}"
    if waits:
        foot = "" if any(r.factor == "season" for r in option.against) else best
    return Card(
        title=f"{option.name}, only for {names(option.species, control)}" if whose else option.name,
        mark=option.suited,
        actives=tuple(_active(active, option.use.place == "lawn") for active in option.actives),
        do=tuple(do),
        points=tuple(points),
        foot=foot,
        key=option_key(option, whose),
    )


def _points(option: JudgedOption, brief: bool) -> list[Words]:
    """The reasons for which it waits, each named as such; then what must be borne in mind with it."""
    waits = brief and option.suited == "wait"  # then its card begins with the reasons
    said: list[Words] = [] if waits else [cited(r, f"Wait: {r.whole}") for r in option.against]
    for reason in option.beside:
        if reason.weight == "care" or (not option.against and (not brief or reason.factor == "lawn")):
            said.append(cited(reason, reason.whole))
    return said


def _shared(alike: Sequence[JudgedOption], brief: bool) -> list[Words]:
    """What is said of every herbicide among some options, to be said once; nothing of a single one."""
    said = [_points(option, brief) for option in alike if option.actives]
    return [line for line in said[0] if all(line in one for one in said[1:])] if len(said) > 1 else []


def not_fixed(leaves: tuple[str, ...]) -> str:
    """What an option won't fix, without what is said more fully beside it."""
    texts = [f"{text[:1].lower()}{text[1:]}".rstrip(".") for text in leaves]
    return "; ".join(text for text in texts if not any(text != other and other.startswith(text) for other in texts))


def _active(active: UsedActive, on_lawn: bool) -> Active:
    rating = "unknown" if active.needs_label else active.lawn_rating
    if not on_lawn:
        lawn = ""
    elif active.label is not None:
        lawn = "lawn: by the label"
    elif active.needs_label and active.lawn_rating != "unknown":
        lawn = "lawn: from memory, so caution"
    else:
        lawn = LAWN[active.lawn_rating]
    assumed = "" if active.rain_fast_published else " (assumed)"
    return Active(
        f"{active.name}: {f'group {active.group}' if active.group else 'no classified group'}",
        rating,
        lawn,
        f"rain-fast in {active.rain_fast_hours:g} h{assumed}" if active.rain_fast_hours is not None else "",
    )
