"""What a user saves once: the state, and the business details that every spray record asks for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml
from pydantic import BaseModel, ConfigDict

from app.records.fields import State, Text
from app.services.home import home
from model.flora.load import check_as, read_as
from model.storage import replace_file


class OwnDetails(BaseModel):
    """The file of details; those of a treatment are called as in the records, and an empty one was not given."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    state: State = ""
    applicator: Text = ""
    applicator_address: Text = ""
    applicator_contact: Text = ""
    licence: Text = ""
    business: Text = ""
    business_address: Text = ""
    business_contact: Text = ""


def details_file() -> Path:
    """Where the details are kept, in the user's folder."""
    return home() / "settings" / "details.yaml"


def own_details() -> OwnDetails:
    """The details that were saved. Raises FloraError for a file that is not one of these."""
    file = details_file()
    return read_as(file, OwnDetails) if file.exists() else OwnDetails()


def own_state() -> str | None:
    """The state that was saved; None where none was."""
    return own_details().state or None


def save_details(**changed: Any) -> OwnDetails:
    """Save details in place of those before; the others stay, and an empty text takes one back."""
    file = details_file()
    found = check_as(file, OwnDetails, own_details().model_dump() | changed)
    file.parent.mkdir(parents=True, exist_ok=True)
    given = {name: value for name, value in found.model_dump().items() if value}
    replace_file(file, yaml.safe_dump(given, sort_keys=False, allow_unicode=True).encode())
    return found
