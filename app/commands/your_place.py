"""The commands `settings` and `where`: what is saved about the user, and where everything lies."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

from app.commands.json_output import Json, answer
from app.commands.options import State, option
from app.services.home import cache_folder, home, is_ours, program_version
from app.services.own_details import own_details, save_details

LIES = {
    "records": "clients, sites, visits, spray records and their photos; your state and business details",
    "collection": "your labelled photos",
    "models": "photo models of your own",
    "drafts": "jobs begun on the web pages",
    "labels": "labels that you have read",
    "slips": "how often people mistake one thing for another, from your records",
    "faults": "details of faults of the program",
}

SHARED = (
    "Other things lie in that folder, or it is set up for a group, so its permissions are left as they are; "
    "the folders named above are closed to other users of this machine."
)


def settings(
    state: State = None,
    applicator: Annotated[str | None, option("NAME", "Who sprays.")] = None,
    applicator_address: Annotated[str | None, option("TEXT", "Where the applicator is reached by post.")] = None,
    applicator_contact: Annotated[str | None, option("TEXT", "The applicator's phone or email.")] = None,
    licence: Annotated[str | None, option("TEXT", "The number of the applicator's licence.")] = None,
    business: Annotated[str | None, option("NAME", "The business that the work is done for.")] = None,
    business_address: Annotated[str | None, option("TEXT", "Its address.")] = None,
    business_contact: Annotated[str | None, option("TEXT", "Its phone or email.")] = None,
    as_json: Json = False,
) -> None:
    """Save your state and business details once: advice and new records start from them. Empty text takes one back.

    Examples:
        swardkey settings --state NSW --applicator "Kim Lee" --licence 12345 --business "Wattle Lawns"
        swardkey settings --licence ""
    """
    details = {
        "state": state, "applicator": applicator, "applicator_address": applicator_address,
        "applicator_contact": applicator_contact, "licence": licence, "business": business,
        "business_address": business_address, "business_contact": business_contact,
    }  # fmt: skip
    changed = {name: value for name, value in details.items() if value is not None}
    found = save_details(**changed) if changed else own_details()
    lines = [f"{name.replace('_', ' ')}: {value}" for name, value in asdict(found).items() if value]
    answer(as_json, asdict(found), "\n".join(lines) or "Nothing is saved yet; see swardkey settings --help")


def where(as_json: Json = False) -> None:
    """Show where your data lie, and how to move them, upgrade and remove the program."""
    folder, program = home(), Path(__file__).resolve().parents[2]
    found = {"version": program_version(), "program": str(program), "data": str(folder), "cache": str(cache_folder())}
    rows = [f"  {name:<11} {words}" for name, words in LIES.items() if (folder / name).is_dir()]
    text = [
        f"swardkey {found['version']}, installed in {program}",
        f"Your data: {folder}",
        *(rows or ["  nothing is kept there yet"]),
        *([] if is_ours() or not folder.is_dir() else [SHARED]),
        f"Made again when needed: {found['cache']}",
        "",
        "Another folder: set SWARDKEY_HOME to it.",
        "Another machine: swardkey backup FILE.zip here, swardkey restore FILE.zip there.",
        "Upgrade: update the program's folder and install it again as at first; your data stay where they are.",
        "Remove: delete the environment that it was installed in; delete your data as well only if nothing is needed.",
    ]
    answer(as_json, found, "\n".join(text))
