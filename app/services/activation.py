"""Activate a model by its name, on a person's word where it was turned down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from app.services.home import registry
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.registry.models import InCharge


def activate(name: str, by: str = "", because: str = "") -> InCharge:
    """Activate a model; ``by`` and ``because``, if given, are logged as an override.

    Raises CollectionError for half of an override, ModelError for a model that is not there, is damaged, or was turned
    down when it was trained and has no override; nothing changes then.
    """
    by, because = by.strip(), because.strip()
    if bool(by) != bool(because):
        raise CollectionError("an override needs both --by and --because; give the two or neither")
    if not by:
        return registry().use(name)
    return registry().use(name, "override", override={"by": by, "reason": because})
