"""How often people take one thing for another, fitted to the confirmed plants in the user's records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

import yaml

from app.records import open_records
from app.services.home import slips_file
from app.services.knowledge import load_key
from model.flora import load_characters
from model.storage import replace_file
from model.traits import check_answers
from model.traits.refit import Plant, Rate, fit_mistakes


def fit_slips() -> tuple[list[Rate], int]:
    """Rates fitted from the shipped ones, and the number of plants. Raises SwardkeyError where these are too few."""
    plants = confirmed_plants()
    return list(fit_mistakes(load_key(fitted=False).likelihoods, plants)), len(plants)


def confirmed_plants() -> list[Plant]:
    """Species and answers of every finding in the records whose name is confirmed, by a person or by the answers."""
    characters = load_characters()
    found: list[Plant] = []
    with open_records() as records:
        for visit in records.visits():
            for kept in records.current("visit", visit.id).record.findings:  # type: ignore[union-attr]
                if kept.species and kept.answers and (kept.confirmed_by or kept.status == "confirmed"):
                    known = {c: answer for c, answer in kept.answers.items() if c in characters}
                    found.append((kept.species, check_answers(characters, known)))
    return found


def use_slips(rates: Sequence[Rate], plants: int) -> None:
    """Use fitted rates from the next start on."""
    kept = {"plants": plants, "rates": [asdict(rate) for rate in rates]}
    slips_file().parent.mkdir(parents=True, exist_ok=True)
    replace_file(slips_file(), yaml.safe_dump(kept, sort_keys=False).encode())


def drop_slips() -> bool:
    """Go back to the shipped rates; whether others were in use."""
    were_in_use = slips_file().exists()
    slips_file().unlink(missing_ok=True)
    return were_in_use
