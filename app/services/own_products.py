"""The products on one's own shelf that hold what is to be sprayed, and their labels' words in a record."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from app.records import OwnProduct, Product, Treatment, as_product
from app.services.objections import actives_named

if TYPE_CHECKING:
    from model.control import Control


def holding(control: Control, own: Iterable[OwnProduct], product: Product) -> tuple[OwnProduct, ...]:
    """The user's products with just the actives of a product in a record; none where it names no active."""
    wanted = set(actives_named(control, (product,)))
    return tuple(one for one in own if wanted and set(_actives(control, one)) == wanted)


def from_shelf(control: Control, own: Sequence[OwnProduct], treatment: Treatment) -> Treatment:
    """The treatment with each product that has no name yet filled in, where just one on the shelf holds its actives."""
    for place, product in enumerate(treatment.products):
        found = holding(control, own, product) if not product.name else ()
        if len(found) == 1:
            treatment = with_product(treatment, place, found[0])
    return treatment


def with_product(treatment: Treatment, place: int, own: OwnProduct) -> Treatment:
    """The treatment with one of the user's products at a place among its products, and the periods on its label."""
    products = [*treatment.products, *(Product() for _ in range(place + 1 - len(treatment.products)))]
    products[place] = as_product(own, products[place])
    waits = {name: getattr(treatment, name) or getattr(own, name) for name in ("re_entry", "withholding")}
    return replace(treatment, products=tuple(products), **waits)


def _actives(control: Control, own: OwnProduct) -> tuple[str, ...]:
    return actives_named(control, (Product(name=own.name, actives=own.actives),))
