"""The page about a measured model: one file of HTML that holds its figures and pictures, and needs nothing else."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from PIL import Image

from model.errors import PhotoError
from model.photo import open_photo
from model.storage import replace_file
from training.evaluate.figures import confusion, reliability, species_recall
from training.evaluate.measure import ELSE, Measured
from training.evaluate.probes import Background, Gap, background_probe, grouped_gap

Name = Callable[[str], str]
WORST = 12  # errors that are shown
CONFUSIONS = 12
SIDE = 260  # px of a picture


@dataclass(frozen=True)
class Mistake:
    """A photo whose first choice was wrong: what it shows, what was said, and how sure."""

    file: str
    shows: str
    said: str
    sure: float
    own: float
    picture: Markup


@dataclass(frozen=True)
class Confusion:
    """How many photos of one species got another as the first choice."""

    shows: str
    said: str
    times: int
    of: int


def write_page(out: Path, measured: Measured, names: Mapping[str, str]) -> None:
    """Write the page to ``out``. ``names``: common names by species id. Raises OSError."""
    replace_file(out, page(measured, names).encode())


def page(measured: Measured, names: Mapping[str, str]) -> str:
    """The page as text. Figures that the photos do not allow say so in their place."""
    plain = {**names, ELSE: "other plants"}

    def name(species: str) -> str:
        return plain.get(species, species)

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    environment.filters["percent"] = lambda share: f"{share * 100:.1f} %"
    gap, background = grouped_gap(measured.x, measured.photos, measured.shrinkage), background_probe(measured.photos)
    return environment.get_template("page.html").render(
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
        gap=gap,
        gap_says=_gap_says(gap),
        background=background,
        background_says=_background_says(background),
    )


def mistakes(measured: Measured, name: Name) -> list[Mistake]:
    """The worst errors, the surest wrong first; each with its picture, without metadata."""
    p, truth = measured.probabilities, measured.truth
    said, own = p.argmax(axis=1), p[np.arange(len(truth)), truth]
    wrong = np.flatnonzero(said != truth)
    found = []
    for row in wrong[np.argsort(own[wrong], kind="stable")][:WORST]:
        photo = measured.photos[row]
        shows = name(photo.label) if measured.columns[truth[row]] != ELSE else _outside(photo.label, name)
        try:
            picture = _picture(photo.file)
        except PhotoError:
            continue
        first = measured.columns[said[row]]
        found.append(Mistake(photo.name, shows, name(first), float(p[row].max()), float(own[row]), picture))
    return found


def _outside(label: str, name: Name) -> str:
    return label.split(":", 1)[1].replace("_", " ") if ":" in label else f"{name(label)}, which it does not know"


def _picture(file: Path) -> Markup:
    image = Image.fromarray(open_photo(file).pixels)
    image.thumbnail((SIDE * 2, SIDE))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return Markup("data:image/jpeg;base64,") + Markup(base64.b64encode(out.getvalue()).decode("ascii"))


def confusions(measured: Measured, name: Name) -> list[Confusion]:
    """Which species are taken for which, the most frequent first."""
    said = measured.probabilities.argmax(axis=1)
    found = []
    for shows in np.unique(measured.truth):
        here = measured.truth == shows
        for column in np.unique(said[here]):
            if column != shows:
                times = int((said[here] == column).sum())
                found.append(
                    Confusion(name(measured.columns[shows]), name(measured.columns[column]), times, int(here.sum()))
                )
    return sorted(found, key=lambda c: (-c.times, c.shows, c.said))[:CONFUSIONS]


def _gap_says(gap: Gap | None) -> str:
    if gap is None:
        return (
            "Not measured: it needs two species or more, each with photos of at least four known groups "
            "(plants, visits or photographers)."
        )
    return (
        f"{(gap.by_photo - gap.by_group) * 100:+.1f} points: a head fitted anew on {gap.photos} photos of "
        f"{gap.classes} classes in {gap.groups} known groups reaches {gap.by_photo:.1%} when photos are split at "
        f"random, and {gap.by_group:.1%} when the photos of one group stay together. Only the second is fair."
    )


def _background_says(background: Background | None) -> str:
    if background is None:
        return "Not measured: it needs two species or more, each with at least four groups of photos."
    verdict = (
        "More than twice chance: the surroundings give the species away, so accuracy on these photos says too little "
        "about photos taken elsewhere."
        if background.tells_too_much
        else "No more than twice chance: the surroundings give little away."
    )
    return (
        f"{background.accuracy:.1%} of {background.photos} photos of {background.classes} classes are named right, "
        f"class by class, from eight pixels of the border alone; chance is {background.chance:.1%}. {verdict}"
    )
