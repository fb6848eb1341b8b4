"""Read configs/ into a Flora, and check its files against one another."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import yaml
from pydantic import TypeAdapter, ValidationError

from model.errors import FloraError, nearest
from model.file import read_file
from model.flora.character import Character
from model.flora.source import Source, check_facts
from model.flora.species import LookAlike, Score, Season, Species
from model.validation import first_cause

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from yaml import SafeLoader
else:
    SafeLoader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # that of libyaml, where it is there

Reader = Callable[[Path], dict[str, Any]]
Checked = TypeVar("Checked")
CONFIGS = Path(__file__).resolve().parents[2] / "configs"
LARGEST_BYTES = 1_000_000  # of one YAML file
LONG_NUMBER = re.compile(r"[-+0-9_:.]{60,}")  # also of the old form in sixties
DEEPEST = 20  # lists and mappings within one another


def check_keys(node: yaml.MappingNode) -> None:
    """Make sure that a mapping has each key once. Raises yaml.YAMLError naming one that is given twice."""
    seen: set[str] = set()
    for key, _ in node.value:
        if isinstance(key, yaml.ScalarNode) and key.value in seen:
            raise yaml.MarkedYAMLError(problem=f"{key.value[:60]} is given twice", problem_mark=key.start_mark)
        seen.add(str(key.value))


class _BooleanFreeLoader(SafeLoader):
    """Safe YAML in which yes, no, on and off are text, not truth values, and a key is given once."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        """The mapping. Raises yaml.YAMLError naming a key that is given twice."""
        check_keys(node)
        found: dict[Any, Any] = super().construct_mapping(node, deep)
        return found


_BooleanFreeLoader.yaml_implicit_resolvers = {
    letter: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:bool"]
    for letter, resolvers in _BooleanFreeLoader.yaml_implicit_resolvers.items()
}


def check_plain(text: str) -> None:
    """Make sure that there are values only, without references, tags or deep nesting, before anything is built.

    A few lines of references can expand to more than memory holds. Raises yaml.YAMLError.
    """
    depth = 0
    for event in yaml.parse(text, Loader=_BooleanFreeLoader):
        depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
        problem = "it is nested too deeply" if depth > DEEPEST else ""
        if isinstance(event, yaml.AliasEvent):
            problem = "a reference (*) to another place"
        elif getattr(event, "tag", None):
            problem = "a tag (!), which no value needs"
        elif LONG_NUMBER.fullmatch(getattr(event, "value", "")):
            problem = "a number that is too long"
        if problem:
            raise yaml.MarkedYAMLError(problem=problem, problem_mark=event.start_mark)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Flora:
    """All species, characters and sources, checked against one another.

    ``species`` are sorted by id and ``characters`` in the order of their file: the order of rows and columns of every
    array in the package.
    """

    species: dict[str, Species]
    characters: dict[str, Character]
    sources: dict[str, Source]

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """Species ids, sorted: the order of rows in likelihoods and probabilities."""
        return tuple(self.species)

    def is_applicable(self, species: str, character: str) -> bool:
        """Whether the plant has the part that the character is about, at any age."""
        plant = self.species[species]
        if plant.characters.get(character) == "inapplicable":
            return False
        for gate, states in self.characters[character].applies_when.items():
            score = plant.characters.get(gate)
            if isinstance(score, Score) and score.states is not None:
                younger = score.before if isinstance(score.before, dict) else {}
                if not {*score.states, *younger} & set(states):
                    return False
            elif not self.is_applicable(species, gate):
                return False
        return True

    @cached_property
    def look_alikes(self) -> dict[str, tuple[str, ...]]:
        """Species id to the ids it is confused with, made symmetric."""
        pairs: dict[str, set[str]] = {s: set() for s in self.ids}
        for plant in self.species.values():
            for other in plant.look_alikes:
                if other.species is not None:
                    pairs[plant.id].add(other.species)
                    pairs[other.species].add(plant.id)
        return {s: tuple(sorted(v)) for s, v in pairs.items()}

    @cached_property
    def calendar(self) -> dict[str, NDArray[np.bool_]]:
        """Whether each species is seen, flowers and seeds in each month: bool (species, 12), January first."""
        import numpy as np  # much that reads the flora computes nothing with it

        calendar = {what: np.zeros((len(self.ids), 12), dtype=bool) for what in ("seen", "flowers", "seeds")}
        for row, plant in enumerate(self.species.values()):
            for what, months in calendar.items():
                months[row, [month - 1 for month in getattr(plant.season, what) or ()]] = True
        return calendar

    def look_alike(self, species: str, other: str) -> LookAlike | None:
        """The entry on how to tell the two apart, from whichever file has it."""
        for one, two in ((species, other), (other, species)):
            for entry in self.species[one].look_alikes:
                if entry.species == two:
                    return entry
        return None


def read_yaml(path: Path) -> Any:
    """Parse one YAML file safely: values only, no references, of bounded size and depth.

    Raises FloraError with the file and line where the text is not YAML or not UTF-8.
    """
    try:
        text = read_file(path, LARGEST_BYTES).decode("utf-8-sig")
        check_plain(text)
        return yaml.load(text, Loader=_BooleanFreeLoader)
    except FileNotFoundError:
        raise FloraError(f"{path}: no such file; restore it or name another") from None
    except OSError as error:
        raise FloraError(f"{path}: cannot be read ({error.strerror or error}); name another file") from None
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line = f" line {mark.line + 1}" if mark is not None else ""
        raise FloraError(
            f"{path}{line}: not valid YAML ({getattr(error, 'problem', None) or 'unreadable'}); fix that line"
        ) from None
    except UnicodeDecodeError:
        raise FloraError(f"{path}: not UTF-8 text; save it as UTF-8") from None
    except ValueError as error:  # such as the date 2026-02-31
        raise FloraError(f"{path}: holds an impossible value ({error}); put quotes around it or fix it") from None


def read_mapping(path: Path) -> dict[str, Any]:
    """Parse one YAML file that must hold a mapping with text keys."""
    found = read_yaml(path)
    if not isinstance(found, dict):
        holds = {list: "holds a list", type(None): "is empty"}.get(type(found), "holds one value")
        raise FloraError(f"{path}: {holds}; it must be a mapping, `key: value` on each line")
    for key in found:
        if not isinstance(key, str):
            raise FloraError(f"{path}: the key {str(key)[:60]} is not text; put quotes around it")
    return found


@cache
def _adapter_of(kind: Any) -> TypeAdapter[Any]:
    """The validator of a model or a mapping of models, made once: hundreds of files are read as one kind."""
    return TypeAdapter(kind)


def check_as(path: Path, kind: type[Checked], found: Mapping[str, Any]) -> Checked:
    """What was read from a file, checked to be a model or a mapping of models. Raises FloraError naming the field."""
    try:
        adapter: TypeAdapter[Checked] = _adapter_of(kind)  # type: ignore[arg-type]  # mypy doubts that types hash
        return adapter.validate_python(found)
    except ValidationError as error:
        raise FloraError(f"{path}: {first_cause(error)}") from None


def read_as(path: Path, kind: type[Checked]) -> Checked:
    """Read one YAML file as a checked configuration. Raises FloraError naming file and field."""
    return check_as(path, kind, read_mapping(path))


def read_facts(path: Path, kind: type[Checked]) -> Checked:
    """Read one YAML file of facts beside sources.yaml, and check that its sources support what it claims."""
    found = read_as(path, kind)
    check_facts(path, found, load_sources(path.parent))
    return found


def load_characters(configs: Path = CONFIGS, read: Reader = read_mapping) -> dict[str, Character]:
    """Read configs/characters.yaml: character id to Character, in the file's order."""
    path = configs / "characters.yaml"
    characters = {key: _with_id(path, Character, key, fields) for key, fields in read(path).items()}
    for character in characters.values():
        for gate, states in character.applies_when.items():
            if gate not in characters or not set(states) <= set(characters[gate].states):
                raise FloraError(f"{path}: {character.id}: applies_when {gate} does not name such states")
    return characters


def _with_id(path: Path, kind: type[Checked], id: str, fields: Any) -> Checked:
    if not isinstance(fields, dict) or "id" in fields:
        raise FloraError(f"{path}: {id}: must be a mapping of fields, and its id is not one of them")
    try:
        return check_as(path, kind, {"id": id, **fields})
    except FloraError as error:
        raise FloraError(str(error).replace(f"{path}: ", f"{path}: {id}: ", 1)) from None


def load_sources(configs: Path = CONFIGS, read: Reader = read_mapping) -> dict[str, Source]:
    """Read configs/sources.yaml: source key to Source."""
    path = configs / "sources.yaml"
    return check_as(path, dict[str, Source], read(path))


def load_species(path: Path, read: Reader = read_mapping) -> Species:
    """Read one file of configs/species. Raises FloraError naming the file and the field."""
    return _with_id(path, Species, path.stem, read(path))


def load_flora(configs: Path = CONFIGS, read: Reader | None = None) -> Flora:
    """Read and cross-check the whole flora.

    ``read`` turns a file into a mapping; without it, the file is parsed as YAML.
    Raises FloraError for an unknown character, state, source or look-alike, naming the file.
    """
    read = read or read_mapping
    characters, sources = load_characters(configs, read), load_sources(configs, read)
    files = sorted((configs / "species").glob("*.yaml"))
    if not files:
        raise FloraError(f"{configs / 'species'}: no species files; the flora is missing")
    flora = Flora({path.stem: load_species(path, read) for path in files}, characters, sources)
    for path in files:
        _check_references(path, flora.species[path.stem], flora)
    return flora


def with_own(flora: Flora, own: Mapping[str, Species], folder: Path) -> Flora:
    """The flora with the user's own species, checked like ours; a species of ours keeps its file.

    ``folder`` is where they are, for the message. Raises FloraError naming the file.
    """
    species = dict(sorted({**own, **flora.species}.items()))
    extended = Flora(species, flora.characters, flora.sources)
    for name, plant in own.items():
        _check_references(folder / f"{name}.yaml", plant, extended)
    return extended


def placeholder_species(species: str, scientific_name: str, common_names: list[str]) -> Species:
    """A species of which only names are known: it may be seen in any month, and no answer is evidence for it."""
    whole_year = list(range(1, 13))
    return Species(
        id=species,
        scientific_name=scientific_name or common_names[0],
        common_names=common_names,
        family="not given",
        names_source=["MEM"],
        in_lawns="occasional",
        in_lawns_source=["MEM"],
        in_lawns_standing="from memory",
        habitat="not given",
        season=Season(seen=whole_year, flowers=whole_year, source=["MEM"], standing="from memory"),
        characters={},
    )


def _check_references(path: Path, plant: Species, flora: Flora) -> None:
    characters, sources = flora.characters, flora.sources
    for key, score in plant.characters.items():
        if key not in characters:
            raise FloraError(f"{path}: unknown character {key}; {nearest(key, characters)}")
        if isinstance(score, Score):
            _check_score(path, characters[key], score)
    for key in (*plant.names_source, *plant.in_lawns_source):
        if key not in sources:
            raise FloraError(f"{path}: source {key} is not in sources.yaml; {nearest(key, sources)}")
    check_facts(path, plant, sources)
    for entry in plant.look_alikes:
        if entry.species is not None and (entry.species not in flora.species or entry.species == plant.id):
            raise FloraError(f"{path}: look-alike {entry.species} is not another species of the flora")
    named = {c: "separate_by" for entry in plant.look_alikes for c in entry.separate_by}
    for key, where in (named | {judgement.character: "judgement on" for judgement in plant.judgements}).items():
        if key not in characters:
            raise FloraError(f"{path}: {where} {key}; {nearest(key, characters)}")


def _check_score(path: Path, character: Character, score: Score) -> None:
    field = {"choice": "states", "number": "range", "month": "months"}[character.kind]
    if getattr(score, field) is None:
        raise FloraError(f"{path}: {character.id} is a {character.kind}; give it {field}")
    younger = score.before
    for state in {**(score.states or {}), **(younger if isinstance(younger, dict) else {})}:
        if state not in character.states:
            raise FloraError(f"{path}: {character.id} has no state {state}; {nearest(state, character.states)}")
    for span in (score.range, younger if isinstance(younger, tuple) else None):
        if span is not None and character.domain is not None:
            low, high = character.domain
            if span[0] < low or span[1] > high:
                raise FloraError(
                    f"{path}: {character.id} {list(span)} is outside its domain {low:g} to {high:g} {character.unit}"
                )
