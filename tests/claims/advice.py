"""How much of the advice is known, and how far it may be leant on.

Run ``python -m tests.claims.advice`` to print the tables of the README, with what is known now. What was known before
is counted in the same way, by an older tree's own code and facts, where its folder is named:

    git worktree add FOLDER fb234b7
    python -m tests.claims.advice --before FOLDER

An option counts as suited where the plan says so in some month, on a lawn, with nothing told of stage, state or what is
near; no lawn is counted as a weed in itself. Months stand as they are shown: in the older tree, as their option did.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from model.control import Case, Control, load_control
from model.control.judge import Matter, judge
from model.flora import load_flora
from model.flora.source import facts_in
from model.flora.species import Fact

STANDINGS = ("published", "common practice", "from memory")
RATINGS = ("safe", "caution", "injures", "unknown")
STATUSES = ("home_garden", "current", "professional_only", "unknown", "cancelled")
MONTHS = range(1, 13)
Counts = dict[str, dict[str, Any]]
Lawn = tuple[str, ...]  # a grass, or a grass and its cultivar


def counted() -> Counts:
    """All counts of the tree whose model is imported; what an older one lacks counts as none."""
    control = load_control(load_flora())
    lawns = {lawn: (lawn,) for lawn in control.lawns if lawn != "unknown"} | cultivars(control)
    return {
        "tolerance": {name: tolerances(control, lawn) for name, lawn in lawns.items()},
        "suited": {name: suited(control, lawn) for name, lawn in lawns.items()},
        "standing": {what: by_standing(facts) for what, facts in statements(control).items()},
        "months": months(control),
        "actives": actives(control),
        "hazards": dict(Counter(h for one in control.treatments.values() for h in getattr(one, "hazards", ()))),
        "about": {
            "species": len(control.treatments),
            "actives": len(control.actives),
            "in plans": len(used(control)),
            "with a hazard": sum(bool(getattr(one, "hazards", ())) for one in control.treatments.values()),
            "declared weeds": len(getattr(control, "declared", {})),
            "declared pairs": sum(len(states) for states in getattr(control, "declared", {}).values()),
        },
    }


def cultivars(control: Control) -> dict[str, Lawn]:
    """Cultivars that some active injures although the rest of their grass bears it, with their names."""
    found: dict[str, Lawn] = {}
    for lawn, one in control.lawns.items():
        for cultivar in getattr(one, "cultivars", ()):
            if any(cultivar in control.excepted(active, lawn) for active in control.actives):
                found[f"{lawn}: {one.cultivars[cultivar].name}"] = (lawn, cultivar)
    return found


def tolerances(control: Control, lawn: Lawn) -> dict[str, int]:
    """How a lawn bears the actives, by rating; those that kill any lawn are left out."""
    rated = [control.rating(name, *lawn) for name, active in control.actives.items() if active.use != "non_selective"]
    return dict(Counter("unknown" if found is None else found.rating for found in rated))


def suited(control: Control, lawn: Lawn) -> dict[str, int]:
    """Weeds with a selective that is suited in some month: all, by the best standing of the tolerance that it rests
    on, and those in which it takes a label that somebody has read."""
    found = [best_selective(control, species, lawn) for species in control.treatments]
    return dict(Counter(one for one in found if one))


def best_selective(control: Control, species: str, lawn: Lawn) -> str:
    """The best standing of a tolerance by which some selective is suited; "label" where only a label read does it."""
    selective = [option for option in control.options(species) if option.method == "selective"]
    yes = [option for option in selective if ever(control, species, lawn, option)]
    if yes:
        return min((rests_on(control, lawn, option.actives) for option in yes), key=STANDINGS.index)
    return "label" if any(ever(control, species, lawn, o, labels(control, lawn)) for o in selective) else ""


def ever(control: Control, species: str, lawn: Lawn, option: Any, read: tuple[Any, ...] = ()) -> bool:
    """Whether an option is suited in some month; ``read``: labels."""
    told: dict[str, Any] = {"labels": read} if read else {}
    told |= {"cultivar": lawn[1]} if len(lawn) > 1 else {}
    cases = (Case((species,), month, lawn[0], **told) for month in MONTHS)
    return any(judge(Matter(control, case, species, option))[0] == "yes" for case in cases)


def rests_on(control: Control, lawn: Lawn, names: Iterable[str]) -> str:
    """The weakest standing of the tolerances of a mix."""
    rated = [control.rating(name, *lawn) for name in names]
    return max((found.standing for found in rated if found is not None), key=STANDINGS.index)


def labels(control: Control, lawn: Lawn) -> tuple[Any, ...]:
    """A label read for every active of which nothing is known on a lawn."""
    try:
        from model.control import LabelRead
    except ImportError:
        return ()
    open_ones = tuple(name for name in control.actives if control.rating(name, *lawn) is None)
    return (LabelRead(open_ones, lawn[0], "12345", "a reader", date(2026, 1, 1)),)


def statements(control: Control) -> dict[str, Iterable[Fact]]:
    """What the files say, by what it is about; an option once for each weed that has it, as it is shown."""
    known = control.actives.values()
    said = [control.cautions, control.states, getattr(control, "declared", {})]
    return {
        "actives: mode of action, hours without rain": [*known, *(a.rain_fast for a in known if a.rain_fast)],
        "actives: registration, poison schedule": [fact for a in known for fact in of_register(a)],
        "tolerance of lawn grasses and cultivars": [fact for _, fact in facts_in(control.tolerance)],
        "options, counted for each weed": [o for s in control.treatments for o in control.options(s)],
        "weeds: habit, seed, resistance": of_weeds(control),
        "cautions, law, declared weeds": [fact for found in said for _, fact in facts_in(found)],
    }


def of_register(active: Any) -> Iterator[Fact]:
    """What is known of an active's registration and poison schedule."""
    yield from (fact for fact in (getattr(active, "registration", None), getattr(active, "poison", None)) if fact)


def of_weeds(control: Control) -> Iterator[Fact]:
    """What plans and kinds say beside their options."""
    for one in control.treatments.values():
        yield from (*one.about, *one.resistance)
    holders: tuple[Any, ...] = (*control.treatments.values(), *control.kinds.values())
    yield from (holder.seeding for holder in holders if getattr(holder, "seeding", None))


def by_standing(facts: Iterable[Fact]) -> dict[str, int]:
    return dict(Counter(fact.standing for fact in facts))


def months(control: Control) -> dict[str, int]:
    """The standing of the months that options are shown with, on couch; those of all year claim nothing."""
    found: Counter[str] = Counter()
    for species in control.treatments:
        for option in control.options(species):
            shown, standing = timing(control, species, option)
            found["at any time" if len(shown) == 12 else standing] += 1
    return dict(found)


def timing(control: Control, species: str, option: Any) -> tuple[tuple[int, ...], str]:
    try:
        from model.control.year import timing_of
    except ImportError:
        return Matter(control, Case((species,), 1), species, option).months, option.standing  # type: ignore[attr-defined]
    found = timing_of(control, option, species, "couch")
    return found.months, found.standing


def used(control: Control) -> set[str]:
    """The actives that stand in some weed's plan."""
    return {name for species in control.treatments for o in control.options(species) for name in o.actives}


def actives(control: Control) -> dict[str, int]:
    """Actives by the status of their registration, in plans and in none."""
    in_plans = used(control)
    found: Counter[str] = Counter()
    for name, active in control.actives.items():
        registration = getattr(active, "registration", None)
        status = registration.status if registration is not None else "not given"
        found[f"{status}, {'in plans' if name in in_plans else 'in none'}"] += 1
    return dict(found)


def of_tree(folder: Path) -> Counts:
    """The counts of another checkout, by this file and its own model."""
    environment = {**os.environ, "PYTHONPATH": str(folder.resolve())}
    command = [sys.executable, "-P", str(Path(__file__).resolve()), "--json"]
    done = subprocess.run(command, cwd=folder, env=environment, stdout=subprocess.PIPE, check=True)
    found: Counts = json.loads(done.stdout)
    return found


class Table:
    """Markdown of a count before and now, or now alone."""

    def __init__(self, now: Counts, before: Counts | None) -> None:
        self.now, self.before = now, before

    def cell(self, *keys: str) -> str:
        """One count, ``before → now`` where there is a before."""
        return self.sum(keys)

    def sum(self, *paths: tuple[str, ...]) -> str:
        """Several counts added up. A cultivar that was not told apart before has no before."""
        new, before = sum(total(self.now, keys) for keys in paths), self.before
        if before is None or any(
            keys[0] in ("tolerance", "suited") and keys[1] not in before[keys[0]] for keys in paths
        ):
            return f"{new:,}"
        return f"{sum(total(before, keys) for keys in paths):,} → {new:,}"

    def row(self, *cells: str) -> None:
        """Print a line."""
        print(f"| {' | '.join(cells)} |")

    def head(self, *cells: str) -> None:
        """Print the line of names, and the rule below it."""
        print()
        self.row(*cells)
        print("|" + "---|" * len(cells))


def total(counts: Counts, keys: tuple[str, ...]) -> int:
    found: Any = counts
    for key in keys:
        found = found.get(key, {})
    return found if isinstance(found, int) else 0


def print_lawns(table: Table) -> None:
    """Tolerance, and weeds with a selective, by lawn."""
    table.head("lawn", "actives: tolerated", "with caution", "injured", "not known", "weeds with a selective",
               "resting on published tolerance", "on common practice", "on memory", "only by a label read")  # fmt: skip
    for lawn in table.now["tolerance"]:
        rated = [table.cell("tolerance", lawn, rating) for rating in RATINGS]
        weeds = table.sum(*(("suited", lawn, standing) for standing in STANDINGS))
        resting = [str(total(table.now, ("suited", lawn, standing))) for standing in (*STANDINGS, "label")]
        table.row(lawn.replace("_", " "), *rated, weeds, *resting)


def print_standings(table: Table) -> None:
    """Statements by standing."""
    table.head("statements", *STANDINGS)
    for what in table.now["standing"]:
        table.row(what, *(table.cell("standing", what, standing) for standing in STANDINGS))
        if what.startswith("options"):
            table.row("months of these options", *(table.cell("months", standing) for standing in STANDINGS))


def print_rest(table: Table) -> None:
    """Actives by registration, and what is said of the weeds themselves."""
    table.head("also counted", "")
    table.row("actives", table.cell("about", "actives"))
    table.row("of them in plans", table.cell("about", "in plans"))
    for status in STATUSES:
        plans, none = (total(table.now, ("actives", f"{status}, {where}")) for where in ("in plans", "in none"))
        table.row(f"registration: {status.replace('_', ' ')}", f"{plans} in plans, {none} in none")
    hazards = ", ".join(f"{name} {count}" for name, count in sorted(table.now["hazards"].items()))
    table.row("options that hold at any time of the year", table.cell("months", "at any time"))
    table.row("weeds with a caution of their own", f"{table.cell('about', 'with a hazard')} ({hazards})")
    table.row("weeds declared in some state, or perhaps so", table.cell("about", "declared weeds"))
    table.row("prompts to that, by state", table.cell("about", "declared pairs"))


def main(arguments: list[str]) -> int:
    """Count and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.claims.advice")
    parser.add_argument("--before", type=Path, metavar="FOLDER", help="An older tree, to be counted too.")
    parser.add_argument("--json", action="store_true", help="Print the counts of this tree as JSON.")
    given = parser.parse_args(arguments)
    now = counted()
    if given.json:
        print(json.dumps(now))
        return 0
    table = Table(now, of_tree(given.before) if given.before is not None else None)
    print(f"{total(now, ('about', 'species'))} weeds, lawn grasses among them")
    print_lawns(table)
    print_standings(table)
    print_rest(table)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
