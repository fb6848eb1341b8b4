"""What goes with a plan: the usual cautions, those for the weed itself, and prompts about the law."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from model.control.case import Case
from model.control.facts import HAZARD_OCCASIONS, Statement
from model.control.knowledge import Control
from model.control.option import JudgedOption
from model.control.use import capital

WITHOUT_HERBICIDE = ("children",)  # of what is near: what is said of them holds of hand work too


def cautions_for(control: Control, case: Case, options: Sequence[JudgedOption]) -> tuple[Statement, ...]:
    """The cautions of configs/control/cautions.yaml for the case.

    After them come the poison schedules of the herbicides, and whether the weed is declared.
    """
    wanted = set(_occasions(control, case, options))
    found: list[Statement] = [caution for caution in control.cautions if caution.when in wanted]
    return (*found, *_poisons(control, options), *_declared(control, case))


def _occasions(control: Control, case: Case, options: Sequence[JudgedOption]) -> Iterator[str]:
    names = _actives(options)
    yield from ("always", *(thing for thing in case.near if names or thing in WITHOUT_HERBICIDE))
    for species in case.species:
        yield from (HAZARD_OCCASIONS.get(hazard, hazard) for hazard in control.treatments[species].hazards)
    yield from names
    if names:
        yield "chemical"
    if names and case.place == "lawn":
        yield "chemical_on_lawn"
        if case.lawn == "buffalo":
            yield "buffalo_chemical"
    if any(control.actives[name].lasts_in_clippings for name in names):
        yield "lasts_in_clippings"
    if any(control.actives[name].volatile for name in names):
        yield "volatile"


def _actives(options: Sequence[JudgedOption]) -> list[str]:
    """The actives of the options that are not ruled out, each once."""
    return list(dict.fromkeys(a.name for option in options if option.suited != "no" for a in option.actives))


def _poisons(control: Control, options: Sequence[JudgedOption]) -> Iterator[Statement]:
    """The poison schedule of each active where it is known; one sentence for all of one standing."""
    found: dict[str, dict[str, list[str]]] = {}
    sources: dict[str, list[str]] = {}
    for name in _actives(options):
        poison = control.actives[name].poison
        if poison is not None:
            words = " or ".join("none" if number == 0 else str(number) for number in sorted(poison.schedules))
            found.setdefault(poison.standing, {}).setdefault(words, []).append(name)
            sources.setdefault(poison.standing, []).extend(poison.source)
    for standing, alike in found.items():
        each = "; ".join(f"{words} ({', '.join(names)})" for words, names in alike.items())
        depends = (
            " Where two are given, it depends on the product's strength."
            if any(" or " in words for words in alike)
            else ""
        )
        yield Statement(
            text=f"Poison schedule: {each}.{depends}",
            source=list(dict.fromkeys(sources[standing])),
            standing=standing,  # type: ignore[arg-type]  # never by a label
        )


def _declared(control: Control, case: Case) -> Iterator[Statement]:
    """Whether the weed is declared in the state; where no state was given, in which ones to ask."""
    for species in case.species:
        known = control.declared.get(species, {})
        words = control.flora.species[species].common_name
        if case.state in known:
            declared = known[case.state]
            text = f"{capital(words)} in {control.states[case.state].name}: {declared.text}"
            yield Statement(text=text, source=declared.source, standing=declared.standing)
        elif known and case.state is None:
            states = ", ".join(control.states[state].name for state in known)
            text = f"Whether {words} is a declared weed depends on the state (on file: {states})."
            text += " Give the state, or ask the council."
            yield Statement(text=text, source=["CP"], standing="common practice")


def law_for(control: Control, case: Case, options: Sequence[JudgedOption]) -> tuple[Statement, ...]:
    """The state's licence and record law as prompts, where the plan has a herbicide."""
    if case.state is None or not _actives(options):
        return ()
    state = control.states[case.state]

    texts = [f"Exempt, {state.name}: {state.exempt}"] if state.exempt else []
    texts += [f"Licence, {state.name}: {state.licence}", f"Record, {state.name}: {state.record}"]
    texts += [f"{state.name}: {text}" for text in state.also]
    found = [Statement(text=text, source=state.source, standing=state.standing) for text in texts]
    unconfirmed = f"Not confirmed for {state.name}: {state.unconfirmed} Confirm all of this with the regulator."
    return (*found, Statement(text=unconfirmed, source=["CP"], standing="common practice"))
