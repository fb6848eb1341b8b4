"""A plan in the terminal: what to do now, what later, what not, and what must be said beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from app.present.finding import month_name
from model.control import Control, JudgedOption, Plan
from model.control.facts import Statement
from model.control.use import Suited

MARKS: dict[Suited, str] = {"yes": "YES ", "wait": "WAIT"}
EVERY: dict[Suited, str] = {"yes": "Every herbicide suited now", "wait": "Every herbicide that must wait"}
STYLES = {"yes": "bold green", "wait": "bold yellow"}


class Notes:
    """The standing of each sentence in short, with the published works numbered for the end."""

    def __init__(self, control: Control) -> None:
        self.control = control
        self.works: dict[str, int] = {}

    def said(self, text: str, standing: str, sources: Iterable[str]) -> str:
        """A sentence with its standing."""
        if standing != "published":
            return f"{text} [{standing}]"
        known = self.control.flora.sources
        keys = [key for key in sources if known[key].standing == "published"]
        numbers = [self.works.setdefault(key, len(self.works) + 1) for key in keys]
        return f"{text} [published: {', '.join(str(n) for n in numbers)}]"

    def of(self, statement: Statement) -> str:
        """A statement with its standing."""
        return self.said(statement.text, statement.standing, statement.source)

    def lines(self) -> list[str]:
        """The works by their numbers."""
        return [f"{n} {self.control.flora.sources[key].citation}" for key, n in self.works.items()]


def print_plan(plan: Plan, control: Control, console: Console | None = None) -> None:
    """Print a whole plan for a person."""
    console = console or Console(highlight=False)
    console.print(heading(plan, control), style="bold", markup=False)
    for line in plan.summary:
        console.print(line, markup=False)
    notes = Notes(control)
    several = len(plan.case.species) > 1
    for species, statement in plan.about:
        name = f"{control.flora.species[species].common_name}: " if several else ""
        console.print(f"- {name}{notes.of(statement)}", markup=False)
    _print_list("First of all", plan.first, notes, console)
    if several and not plan.itself:
        console.print("\nApplies to every weed that it may still be:", style="bold")
    shared = {suited: shared_lines(plan, suited, notes) for suited in MARKS}
    for suited, lines in shared.items():
        for line in lines:
            console.print(f"- {EVERY[suited]}: {line}", markup=False)
    for option in plan.options:
        if option.suited != "no":
            _print_option(option, notes, console, shared[option.suited])
    if any(option.suited != "no" for option in plan.only):
        console.print("\nOnly for some of them, so tell them apart first:", style="bold")
        for option in plan.only:
            if option.suited != "no":
                _print_option(option, notes, console, [], whose=True)
    for line in parting_lines(plan, control):
        console.print(f"- {line}", markup=False)
    _print_ruled_out(plan, notes, console)
    _print_list("About the name of the lawn grass", plan.traps, notes, console)
    _print_list("Always", plan.cautions, notes, console)
    _print_list("Law", plan.law, notes, console)
    if notes.works:
        console.print("\nReferences", style="bold")
    for line in notes.lines():
        console.print(line, markup=False)


def heading(plan: Plan, control: Control) -> str:
    """What the plan is for, in one line."""
    names = " or ".join(control.flora.species[s].common_name for s in plan.case.species)
    place = {"lawn": f"{control.lawns[plan.case.lawn].name} lawn", "bed": "bed", "paving": "paving"}
    if plan.case.place == "lawn" and plan.case.lawn == "unknown":
        place["lawn"] = "lawn of unknown grass"
    return f"{names}: {place[plan.case.place]}, {month_name(plan.case.month)}"


def parting_lines(plan: Plan, control: Control) -> list[str]:
    """What tells the candidates of a shortlist apart, a line a pair."""
    names = {s: control.flora.species[s].common_name for s in plan.case.species}
    return [f"{names[p.one]} or {names[p.other]}? {p.note}" for p in plan.distinctions]


def ruled_out_lines(plan: Plan, notes: Notes) -> list[str]:
    """What is ruled out, a line each, the reason first; each line once."""
    out = [option for option in (*plan.options, *plan.only) if option.suited == "no"]
    lines = [notes.said(o.ruled_out, o.against[0].standing, o.against[0].source) for o in out]
    return list(dict.fromkeys(lines))


def _print_ruled_out(plan: Plan, notes: Notes, console: Console) -> None:
    lines = ruled_out_lines(plan, notes)
    if lines:
        console.print("\nNot here", style="bold")
    for line in lines:
        console.print(f"- {line}", markup=False)


def _print_option(
    option: JudgedOption, notes: Notes, console: Console, shared: Sequence[str], whose: bool = False
) -> None:
    line = Text(f"\n{MARKS[option.suited]} ", style=STYLES[option.suited])
    line.append(option.title, style="bold")
    if option.actives:
        line.append(": " + " + ".join(f"{a.name} (group {a.group}, lawn: {a.lawn_rating})" for a in option.actives))
    if whose:
        line.append(f" [{', '.join(notes.control.flora.species[s].common_name for s in option.species)}]")
    console.print(line)
    console.print(Padding(Text("\n".join(_told(option, notes, shared))), (0, 0, 0, 5)))


def said_of(option: JudgedOption, notes: Notes) -> list[str]:
    """The reasons for which it waits, each named as such; then what must be borne in mind with it."""
    wait = [f"Wait: {notes.said(r.whole, r.standing, r.source)}" for r in option.against]
    return wait + [notes.said(r.whole, r.standing, r.source) for r in option.beside if not wait or r.weight == "care"]


def shared_lines(plan: Plan, suited: Suited, notes: Notes) -> list[str]:
    """What is said of every herbicide that is suited, or that waits, to be told once; nothing of a single one."""
    said = [said_of(option, notes) for option in plan.by(suited) if option.actives]
    return [line for line in said[0] if all(line in one for one in said[1:])] if len(said) > 1 else []


def _told(option: JudgedOption, notes: Notes, shared: Sequence[str]) -> list[str]:
    told = [notes.said(r.whole, r.standing, r.source) for r in option.do]
    if option.out:
        told.append(f"Remove: {', '.join(option.out)}.")
    told += [f"- {line}" for line in said_of(option, notes) if not (option.actives and line in shared)]
    told += [f"What it won't fix: {text}" for text in option.leaves]
    dry = [
        f"{a.name} {a.rain_fast_hours:g} h" + ("" if a.rain_fast_published else " (assumed)")
        for a in option.actives
        if a.rain_fast_hours is not None
    ]
    if dry:
        told.append(f"Rain-free period needed, unless the label says otherwise: {', '.join(dry)}.")
    return told


def _print_list(title: str, statements: Sequence[Statement], notes: Notes, console: Console) -> None:
    if statements:
        console.print(f"\n{title}", style="bold")
        for statement in statements:
            console.print(f"- {notes.of(statement)}", markup=False)
