"""The page about a measured model: one file of HTML that holds its figures and pictures, and needs nothing else."""

from __future__ import annotations

import base64
import io
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from PIL import Image

from model.errors import PhotoError
from model.photo.evidence import OTHER
from model.photo.sandbox import open_photo
from model.storage import replace_file
from training.evaluate.figures import confusion, reliability, species_recall
from training.evaluate.measure import ELSE, Measured
from training.evaluate.probes import background_probe, grouped_gap

Name = Callable[[str], str]
WORST = 12  # errors that are shown
CONFUSIONS = 12
SIDE = 260  # px of a picture


@dataclass(frozen=True)
class Mistake:
    """A photo whose first choice was wrong: what it shows, what it was taken for, how surely, and what was left."""

    file: str
    shows: str
    taken_for: str
    sure: float
    own: float
    picture: str


@dataclass(frozen=True)
class Confusion:
    """How many photos of one species got another as the first choice."""

    shows: str
    taken_for: str
    times: int
    of: int


def write_page(out: Path, measured: Measured, names: Mapping[str, str]) -> None:
    """Write the page to ``out``. ``names``: common names by species id. Raises OSError."""
    plain = {**names, ELSE: "other plants"}

    def name(species: str) -> str:
        return plain.get(species, species)

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    environment.filters["percent"] = lambda share: f"{share * 100:.1f} %"
    text = environment.get_template("page.html").render(
        m=measured,
        f=measured.figures,
        name=name,
        unknown=[s for s in measured.by_species if not s.known],
        groups_known=sum(photo.group_known for photo in measured.photos),
        confusion=Markup(confusion(measured, name)),
        species=Markup(species_recall(measured, name)),
        reliability=Markup(reliability(measured)),
        confusions=confusions(measured, name),
        mistakes=mistakes(measured, name),
        gap=grouped_gap(measured.x, measured.photos, measured.shrinkage),
        background=background_probe(measured.photos),
    )
    replace_file(out, text.encode())


def mistakes(measured: Measured, name: Name) -> list[Mistake]:
    """The worst errors, the surest wrong first; each with its picture, without metadata."""
    p, truth = measured.probabilities, measured.truth
    first, own = p.argmax(axis=1), p[np.arange(len(truth)), truth]
    wrong = np.flatnonzero(first != truth)
    found = []
    for row in wrong[np.argsort(own[wrong], kind="stable")][:WORST]:
        photo = measured.photos[row]
        shows = name(photo.label)
        if photo.label.startswith(OTHER):
            shows = photo.label.removeprefix(OTHER).replace("_", " ")
        elif measured.columns[truth[row]] == ELSE:
            shows = f"{shows}, which it does not know"
        try:
            picture = _picture(photo.file)
        except PhotoError:
            continue
        taken_for = name(measured.columns[first[row]])
        found.append(Mistake(photo.name, shows, taken_for, float(p[row].max()), float(own[row]), picture))
    return found


def _picture(file: Path) -> str:
    image = Image.fromarray(open_photo(file).pixels)
    image.thumbnail((SIDE * 2, SIDE))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return f"data:image/jpeg;base64,{base64.b64encode(out.getvalue()).decode('ascii')}"


def confusions(measured: Measured, name: Name) -> list[Confusion]:
    """Which species are taken for which, the most frequent first."""
    first, of = measured.probabilities.argmax(axis=1).tolist(), Counter(measured.truth.tolist())
    found = [
        Confusion(name(measured.columns[shown]), name(measured.columns[taken]), times, of[shown])
        for (shown, taken), times in Counter(zip(measured.truth.tolist(), first, strict=True)).items()
        if shown != taken
    ]
    return sorted(found, key=lambda c: (-c.times, c.shows, c.taken_for))[:CONFUSIONS]
