"""Read configs/control and configs/plans into one Control, and check the files against one another."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from model.control.active_name import base_name, spelt_anyhow
from model.control.facts import (
    OCCASIONS,
    Active,
    Caution,
    Declared,
    Kind,
    Lawn,
    Methods,
    Option,
    Response,
    State,
    Tolerance,
    Treatment,
)
from model.errors import FloraError, nearest
from model.flora.load import CONFIGS, Checked, Flora, Reader, check_as, read_mapping
from model.flora.name import plain
from model.flora.source import check_facts

ON_THE_PLANT = ("mow", "hand", "selective", "wipe", "non_selective")


@dataclass(frozen=True)
class Control:
    """All that is known of control, checked against the flora and its sources.

    ``tolerance``: active to lawn to rating; a pair that is missing is unknown.
    ``assumed_rain_fast_hours``: without rain, where no figure is published for an active.
    ``treatments``: species id to what is done about it; a species of the user's own has none.
    ``declared``: species id to state to what is known of its declaration there.
    """

    flora: Flora
    actives: dict[str, Active]
    lawns: dict[str, Lawn]
    tolerance: dict[str, dict[str, Tolerance]]
    methods: Methods
    assumed_rain_fast_hours: float
    cautions: tuple[Caution, ...]
    states: dict[str, State]
    kinds: dict[str, Kind]
    treatments: dict[str, Treatment]
    declared: dict[str, dict[str, Declared]]

    def options(self, species: str) -> tuple[Option, ...]:
        """The options of a species in the order of the methods: its own, and its kind's that it keeps."""
        treatment = self.treatments[species]
        own = list(treatment.options)
        taken = {option.key for option in own}
        struck = [frozenset(mix) for mix in treatment.without_mixes]
        replaced = {option.method for option in own if not option.actives}
        inherited = [
            option
            for option in self.kinds[treatment.kind].options
            if option.key not in taken
            and frozenset(option.actives) not in struck
            and option.method not in treatment.without
            and not (option.method in replaced and not option.actives)
        ]
        order = list(self.methods.methods)
        return tuple(sorted(own + inherited, key=lambda option: order.index(option.method)))

    def rain_fast_hours(self, active: Active) -> float | None:
        """Hours without rain to be sure; assumed where none is published, None for a pre-emergent, which needs rain."""
        if active.use == "pre_emergent":
            return None
        return active.rain_fast.high if active.rain_fast is not None else self.assumed_rain_fast_hours

    def rating(self, active: str, lawn: str, cultivar: str | None = None) -> Response | None:
        """How a lawn, or that cultivar of it, tolerates an active; None where nothing is known."""
        found = self.tolerance.get(active, {}).get(lawn)
        return found.cultivars.get(cultivar or "", found) if found is not None else None

    def settled(self, active: str, lawn: str, cultivar: str | None = None) -> bool:
        """Whether the tolerance is known: from more than memory, or that the lawn is injured."""
        found = self.rating(active, lawn, cultivar)
        return found is not None and (found.rating == "injures" or found.standing != "from memory")

    def excepted(self, active: str, lawn: str) -> tuple[str, ...]:
        """The cultivars of a lawn that an active injures although the lawn as a whole tolerates it."""
        found = self.tolerance.get(active, {}).get(lawn)
        if found is None or found.rating == "injures":
            return ()
        return tuple(name for name, response in found.cultivars.items() if response.rating == "injures")

    def lawn_named(self, text: str) -> tuple[str, str | None] | None:
        """The lawn that a name means, and its cultivar where the name is a cultivar's; None where it is not known."""
        word = plain(text)
        for key, lawn in self.lawns.items():
            if word in map(plain, (key, lawn.name, lawn.scientific_name, *lawn.also)):
                return key, None
        for key, lawn in self.lawns.items():
            for cultivar, one in lawn.cultivars.items():
                names = [plain(name) for name in (one.name, *one.also)]
                if word in names or word.removesuffix(plain(lawn.name)) in names:
                    return key, cultivar
        return None

    def active_named(self, name: str) -> str | None:
        """The active with that name or synonym, with or without its salt or ester; None where it is not known."""
        word = base_name(name)
        return next((key for key, names in self._names_of_actives() if re.fullmatch(names, word, re.IGNORECASE)), None)

    def actives_in(self, text: str) -> tuple[str, ...]:
        """All actives that a text names, however they are written there; a name that is not known is passed over."""
        text = re.sub("sulph", "sulf", text, flags=re.IGNORECASE)
        return tuple(key for key, names in self._names_of_actives() if re.search(names, text, re.IGNORECASE))

    def _names_of_actives(self) -> Iterator[tuple[str, str]]:
        """Each active, and a pattern for all its names."""
        for key, active in self.actives.items():
            names = dict.fromkeys((base_name(key), key, *active.also_called))
            yield key, "|".join(map(spelt_anyhow, names))


def load_control(flora: Flora, configs: Path = CONFIGS, read: Reader | None = None) -> Control:
    """Read and cross-check everything about control.

    ``read`` turns a file into a mapping; without it, the file is parsed as YAML.
    Raises FloraError naming the file and the entry that is wrong.
    """
    read = read or read_mapping

    def load(name: str, kind: type[Checked]) -> Checked:
        path = configs / "control" / f"{name}.yaml"
        return check_as(path, kind, read(path))

    control = Control(
        flora=flora,
        actives=load("actives", dict[str, Active]),
        lawns=load("lawns", dict[str, Lawn]),
        tolerance=load("tolerance", dict[str, dict[str, Tolerance]]),
        methods=load("methods", Methods),
        assumed_rain_fast_hours=_assumed(configs / "spray.yaml", read),
        cautions=tuple(load("cautions", dict[str, Caution]).values()),
        states=load("states", dict[str, State]),
        kinds=load("kinds", dict[str, Kind]),
        treatments={
            path.stem: check_as(path, Treatment, read(path)) for path in sorted((configs / "plans").glob("*.yaml"))
        },
        declared=load("declared", dict[str, dict[str, Declared]]),
    )
    _check(control, configs)
    return control


def _assumed(path: Path, read: Reader) -> float:
    """The hours that configs/spray.yaml assumes, for the plan and for the spray window."""
    try:
        return float(read(path)["rain"]["assumed"]["value"])
    except (KeyError, TypeError, ValueError):
        raise FloraError(f"{path}: rain.assumed.value must be a number of hours") from None


def _check(control: Control, configs: Path) -> None:
    folder = configs / "control"
    for active, lawns in control.tolerance.items():
        _known(folder / "tolerance.yaml", active, control.actives)
        for lawn, response in lawns.items():
            _known(folder / "tolerance.yaml", lawn, control.lawns)
            for cultivar in response.cultivars:
                _known(folder / "tolerance.yaml", cultivar, control.lawns[lawn].cultivars)
    for state in control.states.values():
        for ban in state.bans:
            _known(folder / "states.yaml", ban.active, control.actives)
    for species, states in control.declared.items():
        _known(folder / "declared.yaml", species, control.flora.species)
        for name in states:
            _known(folder / "declared.yaml", name, control.states)
    for name, kind in control.kinds.items():
        for option in kind.options:
            _check_option(control, folder / "kinds.yaml", name, option)
    for species, treatment in control.treatments.items():
        path = configs / "plans" / f"{species}.yaml"
        _known(path, species, control.flora.species)
        _known(path, treatment.kind, control.kinds)
        for option in treatment.options:
            _check_option(control, path, "options", option)
            _check_months(control, path, species, option)
    for caution in control.cautions:
        _known(folder / "cautions.yaml", caution.when, dict.fromkeys((*OCCASIONS, *control.actives)))
    for name in ("actives", "tolerance", "lawns", "methods", "cautions", "states", "kinds", "declared"):
        check_facts(folder / f"{name}.yaml", getattr(control, name), control.flora.sources)
    for species, treatment in control.treatments.items():
        check_facts(configs / "plans" / f"{species}.yaml", treatment, control.flora.sources)


def _check_option(control: Control, path: Path, where: str, option: Option) -> None:
    for active in option.actives:
        _known(path, active, control.actives)
    for lawn in (*option.only_on, *option.usual_on):
        _known(path, lawn, control.lawns)
    if control.methods.methods[option.method].chemical != bool(option.actives):
        raise FloraError(f"{path}: {where}: {option.method} must name actives if it is chemical, and none otherwise")


def _check_months(control: Control, path: Path, species: str, option: Option) -> None:
    """A plant cannot be treated in a month in which it is not seen."""
    unseen = set(option.months or ()) - set(control.flora.species[species].season.seen)
    if unseen and option.method in ON_THE_PLANT:
        months = ", ".join(map(str, sorted(unseen)))
        raise FloraError(f"{path}: {option.method} in months in which the plant is not seen: {months}")


def _known(path: Path, word: str, known: Mapping[str, object]) -> None:
    if word not in known:
        raise FloraError(f"{path}: {word} is not known; {nearest(word, known)}")
