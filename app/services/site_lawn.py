"""The lawn grass of a site, from what its owner calls it."""

from __future__ import annotations

from app.services.choices import lawn_of, one_of
from app.services.knowledge import load_advice


def lawn_of_site(typed: str, notes: str = "") -> dict[str, str]:
    """The fields of a site that a lawn grass gives; its cultivar joins the ``notes``. Raises AnswerError."""
    control = load_advice()
    lawn, cultivar = lawn_of(control, typed)
    grass = one_of("--lawn", lawn or "", control.lawns)
    named = control.lawns[grass].cultivars[cultivar].name if cultivar and cultivar != "other" else ""
    more = "\n".join(filter(None, (notes, f"The lawn is {named} {control.lawns[grass].name}." if named else "")))
    return {"lawn": grass, **({"notes": more} if more else {})}
