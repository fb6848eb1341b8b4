"""The user's own details and products: asked once, and filled in by themselves in every record."""

from __future__ import annotations

from dataclasses import fields as fields_of
from dataclasses import replace
from typing import Any

from app.records import OwnProduct, Profile, Records, open_records
from app.web.context import Context
from app.web.frame import Address, Fields, FormError, one, refuse_unseen, render, seen
from app.web.treatment_form import CHOICES, read_groups

ADDRESS = "/own"


def body(context: Context, address: Address) -> str:
    """The details, and the list of products; of the one that the address names, its label to change."""
    with open_records() as records:
        products = records.own_products()
        changed = next((product for product in products if product.name == address.get("product")), None)
        return render(
            "own.html", profile=records.profile(), seen=seen(records.profile()), products=products, changed=changed,
            choices=CHOICES, states=context.lists["states"], label=changed or OwnProduct(name=" "),
        )  # fmt: skip


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """What a button does: where to go, and what to say. Raises SwardkeyError where it cannot be."""
    if do == "change_product":
        return {"product": which}, []
    with open_records() as records:
        return {}, [_act(records, do, fields, which)]


def _act(records: Records, do: str, fields: Fields, which: str) -> str:
    """Change the details, or the product called ``which``; what to say."""
    match do:
        case "keep_details":
            given: dict[str, Any] = {f.name: one(fields, f.name) for f in fields_of(Profile) if f.name in fields}
            refuse_unseen(fields, records.profile())
            records.keep_profile(replace(records.profile(), **given))
            return "Saved. New records are filled in with it."
        case "keep_product":
            if not one(fields, "name"):
                raise FormError("What is the product called? Give the full name on its label.")
            texts: dict[str, Any] = {field.name: one(fields, field.name) for field in fields_of(OwnProduct)}
            product = OwnProduct(**texts | {"groups": read_groups(one(fields, "groups"))})
            return f"Saved: {records.keep_product(product, which).name}."
        case "remove_product":
            records.remove_product(which)
            return f"Off the list: {which}. Records that name it stay as they are."
    raise FormError("The list had changed since this page was loaded; it is up to date now.")
