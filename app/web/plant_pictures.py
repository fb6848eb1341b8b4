"""What stands beside the name of a plant: the visitor's photo of it, a collected photo, or line drawings.

Never a computed picture: that would look like the plant, and is not it.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.figures.telling import Sketch, telling
from app.services.plant_photos import photo_of
from app.web.draft import Draft, Shot
from model.identify import Key

OF_THIS = "Your photo of this plant"


@dataclass(frozen=True)
class PlantPicture:
    """Either a photo at ``address``, with its ``credit`` and the ``page`` that this leads to, or some ``sketches``.

    ``credit`` and ``page`` are "" where nobody has to be credited.
    """

    address: str = ""
    words: str = ""
    credit: str = ""
    page: str = ""
    sketches: tuple[Sketch, ...] = ()


def picture_of(key: Key, species: str, sketch: Sketch | None = None) -> PlantPicture:
    """What shows a species. ``sketch``: the drawing that matters here, shown beside a photo and in place of others."""
    photo = photo_of(species)
    sketches = (sketch,) if sketch is not None else () if photo is not None else telling(key, species)
    if photo is None:
        return PlantPicture(sketches=sketches)
    name = key.flora.species[species].common_name if species in key.flora.species else species.replace("_", " ")
    words = f"{name}, a photo {photo.credit if photo.is_own else f'by {photo.credit}'}"
    return PlantPicture(f"/collected/{photo.name}", words, f"Photo: {photo.credit}", photo.page, sketches)


def picture_of_this(draft: Draft) -> PlantPicture | None:
    """The visitor's own photo of the plant itself; None where there is none that can be seen."""
    for shot in draft.shots:
        if shot.usable:
            return PlantPicture(f"/photo/{draft.id}/{shot.thumb}", OF_THIS, OF_THIS)
    return None


def first_photo(draft: Draft) -> Shot | None:
    """The visitor's photo that stays in sight beside the work; None where there is none."""
    return next((shot for shot in draft.shots if shot.usable and shot.file), None)
