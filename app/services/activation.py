"""Activate a model by its name, and the override by which a person decides where the photos cannot."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from app.services.home import registry
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.gate import Override
    from training.registry.models import InCharge


def override_of(by: str, because: str) -> Override | None:
    """Who decides where the photos cannot, and why; None for neither. Raises CollectionError for half of it."""
    from training.gate import Override

    by, because = by.strip(), because.strip()
    if bool(by) != bool(because):
        raise CollectionError("an override needs both --by and --because; give the two or neither")
    return Override(by, because) if by else None


def activate(name: str, by: str = "", because: str = "") -> InCharge:
    """Activate a model; ``by`` and ``because``, if given, are logged as an override.

    Raises CollectionError, or ModelError for a model that is missing, damaged, or turned down and not overridden.
    """
    override = override_of(by, because)
    if override is None:
        return registry().use(name)
    return registry().use(name, "override", override=asdict(override))
