"""How much of the advice is known, and from which sources.

Run ``python -m tests.claims.advice`` to print the tables. An option counts as suited where the plan says so in some
month, on a lawn, without stage, state or what is near; no lawn is counted as a weed in itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date

from model.control import Case, Control, LabelRead, load_control
from model.control.facts import Option
from model.control.judge import Matter, judge
from model.control.year import timing_of
from model.flora import load_flora
from model.flora.source import facts_in
from model.flora.species import Fact

STANDINGS = ("published", "common practice", "from memory")
RATINGS = ("safe", "caution", "injures", "unknown")
STATUSES = ("home_garden", "current", "professional_only", "unknown", "cancelled")
Lawn = tuple[str, ...]  # a grass, or a grass and its cultivar


def cultivars(control: Control) -> dict[str, Lawn]:
    """Cultivars that some active injures although the rest of their grass tolerates it, with their names."""
    found: dict[str, Lawn] = {}
    for lawn, one in control.lawns.items():
        for cultivar in one.cultivars:
            if any(cultivar in control.excepted(active, lawn) for active in control.actives):
                found[f"{lawn}: {one.cultivars[cultivar].name}"] = (lawn, cultivar)
    return found


def tolerances(control: Control, lawn: Lawn) -> Counter[str]:
    """How a lawn tolerates the actives, by rating; those that kill any lawn are left out."""
    rated = [control.rating(name, *lawn) for name, active in control.actives.items() if active.use != "non_selective"]
    return Counter("unknown" if found is None else found.rating for found in rated)


def best_selective(control: Control, species: str, lawn: Lawn) -> str:
    """The best standing of a tolerance by which some selective is suited; "label" where only a label read does it."""
    selective = [option for option in control.options(species) if option.method == "selective"]
    suited = [option for option in selective if ever(control, species, lawn, option)]
    if suited:
        return min((weakest(control, lawn, option.actives) for option in suited), key=STANDINGS.index)
    unknown = tuple(name for name in control.actives if control.rating(name, *lawn) is None)
    read = (LabelRead(unknown, lawn[0], "12345", "a reader", date(2026, 1, 1)),)
    return "label" if any(ever(control, species, lawn, option, read) for option in selective) else ""


def ever(control: Control, species: str, lawn: Lawn, option: Option, read: tuple[LabelRead, ...] = ()) -> bool:
    """Whether an option is suited in some month; ``read``: labels."""
    cultivar = lawn[1] if len(lawn) > 1 else None
    cases = (Case((species,), month, lawn[0], cultivar=cultivar, labels=read) for month in range(1, 13))
    return any(judge(Matter(control, case, species, option))[0] == "yes" for case in cases)


def weakest(control: Control, lawn: Lawn, names: Iterable[str]) -> str:
    """The weakest standing of the tolerances of a mix."""
    rated = [control.rating(name, *lawn) for name in names]
    return max((found.standing for found in rated if found is not None), key=STANDINGS.index)


def statements(control: Control) -> dict[str, Iterable[Fact]]:
    """The facts by subject; an option once for each weed that has it, as it is shown."""
    known = control.actives.values()
    law = (control.cautions, control.states, control.declared)
    return {
        "actives: mode of action, hours without rain": [*known, *(a.rain_fast for a in known if a.rain_fast)],
        "actives: registration, poison schedule": [f for a in known for f in (a.registration, a.poison) if f],
        "tolerance of lawn grasses and cultivars": [fact for _, fact in facts_in(control.tolerance)],
        "options, counted for each weed": [o for s in control.treatments for o in control.options(s)],
        "weeds: habit, seed, resistance": of_weeds(control),
        "cautions, law, declared weeds": [fact for found in law for _, fact in facts_in(found)],
    }


def of_weeds(control: Control) -> Iterator[Fact]:
    """The facts of plans and kinds other than their options."""
    for one in control.treatments.values():
        yield from (*one.about, *one.resistance)
    holders = (*control.treatments.values(), *control.kinds.values())
    yield from (holder.seeding for holder in holders if holder.seeding)


def months(control: Control) -> Counter[str]:
    """The standing of the months that options are shown with, on couch; those of all year claim nothing."""
    timings = [timing_of(control, o, s, "couch") for s in control.treatments for o in control.options(s)]
    return Counter("at any time" if len(timing.months) == 12 else timing.standing for timing in timings)


def print_table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    """Print a table in Markdown."""
    names = list(head)
    print(f"\n| {' | '.join(names)} |\n|{'---|' * len(names)}")
    for row in rows:
        print(f"| {' | '.join(f'{cell:,}' if isinstance(cell, int) else str(cell) for cell in row)} |")


def lawn_rows(control: Control) -> Iterator[list[object]]:
    """Tolerance, and weeds with a selective, by lawn."""
    for name, lawn in ({n: (n,) for n in control.lawns if n != "unknown"} | cultivars(control)).items():
        rated = tolerances(control, lawn)
        weeds = Counter(best_selective(control, species, lawn) for species in control.treatments)
        suited = sum(weeds[standing] for standing in STANDINGS)
        by = [weeds[standing] for standing in (*STANDINGS, "label")]
        yield [name.replace("_", " "), *(rated[rating] for rating in RATINGS), suited, *by]


def standing_rows(control: Control) -> Iterator[list[object]]:
    """Facts by standing."""
    for what, facts in statements(control).items():
        counts = Counter(fact.standing for fact in facts)
        yield [what, *(counts[standing] for standing in STANDINGS)]  # type: ignore[index]
        if what.startswith("options"):
            yield ["months of these options", *(months(control)[standing] for standing in STANDINGS)]


def other_rows(control: Control) -> Iterator[list[object]]:
    """Actives by registration, and facts on the weeds themselves."""
    used = {name for species in control.treatments for o in control.options(species) for name in o.actives}
    yield ["actives", len(control.actives)]
    yield ["of them in plans", len(used)]
    for status in STATUSES:
        names = {name for name, active in control.actives.items() if active.registration.status == status}
        yield [
            f"registration: {status.replace('_', ' ')}",
            f"{len(names & used)} in plans, {len(names - used)} in none",
        ]
    hazards = Counter(hazard for one in control.treatments.values() for hazard in one.hazards)
    listed = ", ".join(f"{name} {count}" for name, count in sorted(hazards.items()))
    yield ["options for any time of the year", months(control)["at any time"]]
    cautioned = sum(bool(one.hazards) for one in control.treatments.values())
    yield ["weeds with a caution of their own", f"{cautioned} ({listed})"]
    yield ["weeds declared in some state, or perhaps so", len(control.declared)]
    yield ["prompts about that, by state", sum(len(states) for states in control.declared.values())]


def main() -> None:
    """Count and print."""
    control = load_control(load_flora())
    print(f"{len(control.treatments)} weeds, lawn grasses among them")
    print_table(
        ("lawn", "actives: tolerated", "with caution", "injured", "not known", "weeds with a selective",
         "by published tolerance", "by common practice", "from memory", "only by a label read"),
        lawn_rows(control),
    )  # fmt: skip
    print_table(("statements", *STANDINGS), standing_rows(control))
    print_table(("also counted", ""), other_rows(control))


if __name__ == "__main__":
    main()
