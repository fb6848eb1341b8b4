"""Species of the user's own: names at first, characters and more when the user adds them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

import yaml
from pydantic import BeforeValidator, Field, ValidationError

from model.errors import CollectionError, SwardkeyError, nearest
from model.flora import Species
from model.flora.load import read_mapping
from model.flora.species import Entry
from model.storage import replace_file
from model.text import shown
from model.validation import first_cause

LONGEST_NAME = 200  # characters
_ID = re.compile(r"[a-z0-9_]{1,80}")
# YAML reads an unquoted date as a date; here it is text.
Text = Annotated[str, BeforeValidator(str)]
OURS = ("labelled_by", "added_at", "advice")
# What a file of names only may hold besides: fields of a whole species that the user is still gathering.
FIELDS = (*Species.model_fields, *OURS)


class OwnSpecies(Entry):
    """A plant that the user added: its names, and who added it when (UTC). The key knows no characters of it."""

    id: str
    scientific_name: str = ""
    common_names: Annotated[list[str], Field(min_length=1)]
    synonyms: list[str] = Field(default_factory=list)
    labelled_by: str = ""
    added_at: Text = ""

    @property
    def common_name(self) -> str:
        """The name shown to people: the first of the common names."""
        return self.common_names[0]


def read_own(folder: Path) -> dict[str, OwnSpecies | Species]:
    """Read all species of the user's own in a folder: id to names, or to a whole Species with characters.

    Raises CollectionError naming the file and the field that is wrong.
    """
    return {path.stem: _read(path) for path in sorted(folder.glob("*.yaml"))}


def _read(path: Path) -> OwnSpecies | Species:
    if not _ID.fullmatch(path.stem):
        raise CollectionError(f"{path}: its name is not a species id; use letters a to z, digits and underscores")
    try:
        fields = read_mapping(path)
        _check_names(path, fields)
        for key in fields:
            if key not in FIELDS:
                raise CollectionError(f"{path}: {key}: no such field; {nearest(key, FIELDS)}")
        if fields.get("id", path.stem) != path.stem:
            raise CollectionError(f"{path}: id is {fields['id']!r}; it must be the file's name, {path.stem}")
        fields["id"] = path.stem
        if "characters" in fields:
            return Species(**{key: value for key, value in fields.items() if key not in OURS})
        return OwnSpecies(**{key: value for key, value in fields.items() if key in OwnSpecies.model_fields})
    except ValidationError as error:
        raise CollectionError(f"{path}: {first_cause(error)}; fix that field") from None
    except CollectionError:
        raise
    except SwardkeyError as error:
        raise CollectionError(str(error)) from None


def _check_names(path: Path, fields: dict[str, Any]) -> None:
    """Names are printed, so they hold no signs that steer a screen."""
    for key in ("scientific_name", "common_names", "synonyms", "labelled_by", "family"):
        value = fields.get(key, "")
        for name in value if isinstance(value, list) else [value]:
            text = str(name)
            if len(text) > LONGEST_NAME or shown(text, LONGEST_NAME) != text:
                fault = "is too long" if len(text) > LONGEST_NAME else "has a character that cannot be printed"
                raise CollectionError(f"{path}: {key}: {shown(text, 40)!r} {fault}; fix that field")


def write_own(folder: Path, plant: OwnSpecies) -> None:
    """Write <id>.yaml, unless it is there: what the user wrote since is never replaced. Raises OSError."""
    path = folder / f"{plant.id}.yaml"
    if path.exists():
        return
    folder.mkdir(parents=True, exist_ok=True)
    fields: dict[str, Any] = plant.model_dump(exclude={"synonyms"})
    replace_file(path, yaml.safe_dump(fields, sort_keys=False, allow_unicode=True).encode())
