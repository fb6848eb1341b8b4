"""What is going to be sprayed, as plan, spray check and sums leave it: for the sums, the papers and the record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import time

from app.records import Product, Reading, Treatment
from app.services.mixing import OF_PRODUCT, amounts_of
from app.web.context import Context
from app.web.draft import Draft
from app.web.plan_page import to_spray
from app.web.sums_page import result_of


@dataclass(frozen=True)
class Spraying:
    """All that is known of a spraying before it is done. Texts as they were typed, "" for what was not given.

    ``actives``: every active in the tank. ``groups``: their modes of action, each once, without the unclassified 0.
    ``rate``: the label's, typed by the user. ``area_m2``, ``water_litres`` (of spray in all) and ``total`` (of product,
    with its unit) are of the last sum that was worked out; None or "" where it did not say. ``weather``: as measured.
    """

    actives: tuple[str, ...] = ()
    groups: tuple[int, ...] = ()
    rate: str = ""
    area_m2: float | None = None
    water_litres: float | None = None
    total: str = ""
    tank_loads: str = ""
    weather: Reading | None = None
    state: str = ""

    @property
    def mix(self) -> str:
        """The actives by name."""
        return " + ".join(self.actives)

    @property
    def product(self) -> Product | None:
        """The row of a record that this fills in; None where nothing is sprayed. Names and numbers are the label's."""
        if not self.actives:
            return None
        return Product(actives=self.mix, groups=self.groups, rate=self.rate, total_amount=self.total)

    def into(self, treatment: Treatment) -> Treatment:
        """A treatment with what is known here in the fields that are still empty; what was typed there stays."""
        weather, products = self.weather, treatment.products
        mine = self.product
        if mine is not None and len(products) <= 1 and (not products or products[0].actives in ("", mine.actives)):
            typed = {name: value for name, value in vars(products[0]).items() if value} if products else {}
            products = (replace(mine, **typed),)
        return replace(
            treatment,
            products=products,
            weather=treatment.weather or ((weather,) if weather is not None else ()),
            area_m2=treatment.area_m2 or self.area_m2,
            water_litres=treatment.water_litres or self.water_litres,
            tank_loads=treatment.tank_loads or self.tank_loads,
            state=treatment.state or self.state,  # type: ignore[arg-type]  # checked with the treatment
        )


def spraying_of(context: Context, draft: Draft) -> Spraying:
    """What is going to be sprayed, from a draft. Raises AnswerError for an active that is not known."""
    use, _ = to_spray(context, draft)
    groups = dict.fromkeys(context.control.actives[name].group for name in use.actives)
    found = Spraying(
        actives=use.actives,
        groups=tuple(group for group in groups if group),
        weather=weather_of(draft),
        state=use.state or "",
    )
    return _with_sum(found, draft)


def _with_sum(spraying: Spraying, draft: Draft) -> Spraying:
    """The same with the last sum that says how much is used, where it came out."""
    last = draft.sums.get("last", "")
    kind = last if last in OF_PRODUCT else next((k for k in OF_PRODUCT if k in draft.sums), "")
    result = result_of(kind, draft.sums[kind]).get("result") if kind else None
    return spraying if result is None else replace(spraying, **vars(amounts_of(result, draft.sums[kind])))


def weather_of(draft: Draft) -> Reading | None:
    """The weather as it was measured on site; None where it was not."""
    typed = draft.weather
    if not all(typed.get(name) for name in ("temperature", "humidity", "wind")):
        return None
    hour = str(typed.get("hour", ""))
    at = time.fromisoformat(hour.zfill(5)) if hour.count(":") == 1 else None
    temperature, humidity, wind = (float(typed[name]) for name in ("temperature", "humidity", "wind"))
    return Reading(at=at, temperature=temperature, humidity=humidity, wind_speed=wind)
