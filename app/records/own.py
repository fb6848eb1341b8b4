"""What a user is asked once: who does the work and for which business, and the products that they own."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from typing import Any

from app.records import journal
from app.records.database import Database
from app.records.entries import Product, Treatment
from app.records.errors import RecordsError
from app.records.fields import Gear, Group, Licensed, Needed, State, Strict, Text
from app.records.serialization import canonical, checked, plain, rechecked

MOST_PRODUCTS = 200
PERSON = ("applicator_address", "applicator_contact", "licensed", "licence", "gear", "equipment")
BUSINESS = ("business", "business_address", "business_contact")


@dataclass(frozen=True)
class Profile(Strict):
    """Who does the work, where, and for which business; the fields are those of a Treatment."""

    state: State = ""
    applicator: Text = ""
    applicator_address: Text = ""
    applicator_contact: Text = ""
    licensed: Licensed = ""
    licence: Text = ""
    business: Text = ""
    business_address: Text = ""
    business_contact: Text = ""
    gear: Gear = ""
    equipment: Text = ""


@dataclass(frozen=True)
class OwnProduct(Strict):
    """A product that the user owns, as its label has it; never what is of one container or one job."""

    name: Needed
    approval_number: Text = ""
    actives: Text = ""
    groups: tuple[Group, ...] = ()
    re_entry: Text = ""
    withholding: Text = ""


class OwnDetails:
    """The profile and the products of a record book, in its notes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def profile(self) -> Profile:
        """Who does the work; all empty until it was kept. Raises RecordsError where it cannot be read."""
        return checked(Profile, self._read("profile", {}))

    def keep_profile(self, profile: Profile) -> Profile:
        """Keep who does the work, in place of what was kept before."""
        self._write("profile", plain(rechecked(profile)))
        return profile

    def own_products(self) -> tuple[OwnProduct, ...]:
        """The user's products by name."""
        listed = self._read("products", [])
        found = (checked(OwnProduct, one) for one in listed if isinstance(one, dict))
        return tuple(sorted(found, key=lambda product: product.name.casefold()))

    def keep_product(self, product: OwnProduct, former: str = "") -> OwnProduct:
        """Keep a product in place of the one of its name, and of the name that it had before. Raises RecordsError."""
        product = rechecked(replace(product, name=product.name.strip()))
        others = self._products_without(product.name, former)
        if len(others) >= MOST_PRODUCTS:
            raise RecordsError(f"there are {MOST_PRODUCTS} products already; remove one that you no longer use")
        self._write("products", [plain(one) for one in (*others, product)])
        return product

    def remove_product(self, name: str) -> None:
        """Take a product off the list; records that name it stay as they are."""
        self._write("products", [plain(one) for one in self._products_without(name)])

    def learn_products(self, treatment: Treatment) -> tuple[str, ...]:
        """Put the products of a treatment on the list, as far as they were typed in full and are new; their names."""
        known, added = {_folded(one.name) for one in self.own_products()}, []
        for product in treatment.products:
            if product.name.strip() and product.actives.strip() and _folded(product.name) not in known:
                of_label = {name: getattr(product, name) for name in ("name", "approval_number", "actives", "groups")}
                if len(treatment.products) == 1:  # of two in a tank, nobody knows whose period it is
                    of_label |= {name: getattr(treatment, name) for name in ("re_entry", "withholding")}
                added.append(self.keep_product(checked(OwnProduct, of_label)).name)
        return tuple(added)

    def _products_without(self, *names: str) -> list[OwnProduct]:
        gone = {_folded(name) for name in names}
        return [one for one in self.own_products() if _folded(one.name) not in gone]

    def _read(self, name: str, nothing: Any) -> Any:
        found = self._database.read("SELECT value FROM notes WHERE name = ?", name)
        try:
            value = json.loads(found[0][0]) if found else nothing
        except ValueError:
            value = None
        if not isinstance(value, type(nothing)):
            raise RecordsError(f"the {name} in the record book cannot be read; restore a backup")
        return value

    def _write(self, name: str, value: Any) -> None:
        with self._database.writing() as connection:
            journal.note_outside_change(connection, "notes", name)
            connection.execute("INSERT OR REPLACE INTO notes VALUES (?, ?)", (name, canonical(value)))
            journal.note(connection, "notes", name)


def filled_in(new: Treatment, profile: Profile, former: Treatment | None) -> Treatment:
    """A new treatment with what is known of person, business and gear: from the profile, else from the last one kept.

    A licence is a person's: it is not handed on to somebody else.
    """
    sources: list[Profile | Treatment] = [profile] if former is None else [profile, former]
    found: dict[str, Any] = {} if new.state else {"state": profile.state}
    for source in sources:
        hers = not new.applicator or source.applicator.casefold() == new.applicator.casefold()
        names = (*BUSINESS, *(("applicator", *PERSON) if hers else ()))
        if isinstance(source, Treatment):  # the gear of another day is not this day's
            names = tuple(name for name in names if name not in ("gear", "equipment"))
        found |= {name: getattr(source, name) for name in names if getattr(source, name) and not found.get(name)}
    return replace(new, **found)


def as_product(own: OwnProduct, product: Product) -> Product:
    """A product of a treatment with what the list has of its label; batch, rate and amount stay as they were."""
    given = {f.name: getattr(own, f.name) for f in fields(Product) if hasattr(own, f.name)}
    return replace(product, **{name: value for name, value in given.items() if value})


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())
