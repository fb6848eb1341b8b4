"""Fuse prior, photos and answers into a Finding: a name, how sure, why, and what to ask next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from model.flora import Species
from model.flora.load import CONFIGS, Flora, Reader, load_flora, with_own
from model.hint import Hinted, hint_log_likelihood
from model.prior import PriorConfig, load_prior, prior
from model.traits import Answers, Likelihoods, load_observer, next_question, relative_probability, telling
from model.traits.answers import Answer
from model.traits.question import SEPARATES, Question

Array = NDArray[np.float64]
Status = Literal["confirmed", "likely", "undecided", "unlisted"]
Kind = Literal["photographed", "drawn"]
CONFIRMED, LIKELY, LEADS = 0.95, 0.70, 0.50
SHOWN, LEAST_SHOWN = 10, 0.001  # a Finding lists ten candidates, and all others of this probability or more
MOVED = 2.0  # likelihood ratio from which an answer counts as a reason for an override


class PhotoEvidence(Protocol):
    """What identify needs to know of the photos; model.photo makes it."""

    @property
    def log_likelihood(self) -> Mapping[str, float]:
        """ln of P(class | photos) / P(class), by species with photos."""

    @property
    def log_likelihood_other(self) -> float:
        """The same for everything else: species without photos, and unlisted plants."""

    @property
    def probabilities(self) -> Mapping[str, float]:
        """Calibrated probability of each species with photos; what is missing to 1 is `other`."""

    @property
    def photos(self) -> Sequence[Mapping[str, Any]]:
        """One entry a photo: file, usable, notes."""


@dataclass(frozen=True)
class Candidate:
    """One species: its probability (0-1), the photo's own, and the answers for and against it.

    ``evidence``: whether the photos were compared with photos of it, or only with drawings; None with neither.
    """

    species: str
    scientific_name: str
    common_name: str
    probability: float
    photo_probability: float | None
    agrees: tuple[str, ...]
    disagrees: tuple[str, ...]
    evidence: Kind | None = None


@dataclass(frozen=True)
class Override:
    """The answers overturned the photo: from which species, to which, and by which answers.

    ``reasons``: one entry a deciding answer, strongest first: character, what was answered,
    what the overturned species would have shown, and the likelihood ratio in favour.
    """

    photo_said: str
    answers_say: str
    reasons: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Finding:
    """The result of identify; ``probability`` is that of ``species``, candidates come best first.

    ``candidates`` are the first ten of ``species_count`` and all others of 0.001 or more;
    ``still_to_exclude`` are look-alikes of
    ``species`` that no answer has told from it yet; ``relative_probability`` is that of a plant
    like the leading species that is not in the flora, against that species (0-1, None with no lead to speak of).
    """

    status: Status
    species: str | None
    probability: float | None
    unlisted_probability: float
    candidates: tuple[Candidate, ...]
    species_count: int
    override: Override | None
    next_question: Question | None
    still_to_exclude: tuple[str, ...]
    relative_probability: float | None
    photos: tuple[dict[str, Any], ...]

    def as_json(self) -> dict[str, Any]:
        """The Finding as plain data, keys as documented for ``identify --json``."""
        data = asdict(self)
        question = self.next_question
        data["next_question"] = question and {
            "character": question.character.id,
            "text": question.character.question,
            "look": question.character.look,
            "otherwise": question.character.otherwise,
            "kind": question.character.kind,
            "unit": question.character.unit,
            "states": dict(question.character.states),
            "bits": round(question.bits, 3),
        }
        return data


class Key:
    """The flora with its likelihoods and prior, loaded once and used for many plants.

    ``own`` are species of the user's own, from files in ``own_folder``.
    """

    def __init__(
        self,
        configs: Path = CONFIGS,
        read: Reader | None = None,
        own: Mapping[str, Species] | None = None,
        own_folder: Path = CONFIGS / "species",
    ) -> None:
        flora = load_flora(configs, read)
        self.flora: Flora = with_own(flora, own, own_folder) if own else flora
        self.likelihoods = Likelihoods(self.flora, load_observer(configs))
        self.prior_config: PriorConfig = load_prior(configs)

    @cached_property
    def index(self) -> dict[str, int]:
        """Row of each species in every array."""
        return {species: i for i, species in enumerate(self.flora.ids)}

    def posterior(
        self, answers: Answers, photos: PhotoEvidence | None = None, month: int | None = None, region: str | None = None
    ) -> Array:
        """P(hypothesis | photos, answers), float (species + 1,), sums to 1, last is unlisted."""
        return self.posteriors(answers, photos, month, region)[0]

    def posteriors(
        self, answers: Answers, photos: PhotoEvidence | None = None, month: int | None = None, region: str | None = None
    ) -> tuple[Array, Array]:
        """The posterior, and what it would be without the hint from drawings."""
        before = prior(self.flora, self.prior_config, month, region)
        logs = np.log(before) + self.likelihoods.log_likelihood(answers)
        if photos is not None:
            logs += photo_log_likelihood(self.flora, photos)
        return _whole(logs + hint_log_likelihood(photos, self.flora.ids, before)), _whole(logs)


def _whole(logs: Array) -> Array:
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def photo_log_likelihood(flora: Flora, photos: PhotoEvidence) -> Array:
    """ln L_photo by hypothesis, float (species + 1,).

    A species that the photo model has never seen, and the unlisted plant, take that of `other`.
    """
    other = photos.log_likelihood_other
    return np.array([photos.log_likelihood.get(species, other) for species in flora.ids] + [other])


def identify(
    key: Key,
    answers: Answers,
    photos: PhotoEvidence | None = None,
    month: int | None = None,
    region: str | None = None,
) -> Finding:
    """Name a plant from what is known of it.

    ``answers`` as check_answers gives them; ``month`` 1-12; all may be missing.
    A photo alone never confirms: `confirmed` needs P >= 0.95 and, for every look-alike in the
    flora, an answer that separates the two, and answers enough that a relative which is not
    listed is improbable too; where that relative is the more probable, nothing is named.
    `unlisted` needs that hypothesis to outweigh all species together. A hint from drawings
    orders candidates and questions, but names nothing that would not be named without it.
    """
    p, plain = key.posteriors(answers, photos, month, region)
    lead = int(p[:-1].argmax())
    sure = min(float(p[lead]), float(plain[lead]))
    left = unseparated(key, answers, lead)
    # Of a species that is known by name only no answer can speak, so none can prove it.
    provable = bool(answers) and bool(key.flora.species[key.flora.ids[lead]].characters)
    relative = _relative(key, answers, photos, lead)
    status = _status(min(float(p[-1]), float(plain[-1])), sure, left, provable, relative)
    names = status in ("confirmed", "likely")
    # What only a hint makes probable is still asked about as if there were none.
    asked = plain if p[lead] >= LIKELY and not names else p
    question = None if status == "confirmed" else _question(key, asked, answers, lead, left, sure >= CONFIRMED)
    return Finding(
        status=status,
        species=key.flora.ids[lead] if names else None,
        probability=sure if names else None,
        unlisted_probability=float(p[-1]),
        candidates=tuple(_candidate(key, i, p, answers, photos) for i in _shown(p)),
        species_count=len(key.flora.ids),
        override=_override(key, answers, photos, lead, p),
        next_question=question,
        still_to_exclude=tuple(key.flora.ids[i] for i in left) if names else (),
        relative_probability=relative if sure >= LIKELY else None,
        photos=tuple(dict(photo) for photo in photos.photos) if photos is not None else (),
    )


def unseparated(key: Key, answers: Answers, lead: int) -> list[int]:
    """Rows of the look-alikes of ``lead`` that no answer tells from it yet."""
    ratios = [key.likelihoods.tables[c].likelihood(answer) for c, answer in answers.items() if answer != ()]
    rows = [key.index[other] for other in key.flora.look_alikes[key.flora.ids[lead]]]
    return [row for row in rows if not any(r[lead] >= SEPARATES * r[row] for r in ratios)]


def _status(unlisted: float, sure: float, left: list[int], provable: bool, relative: float) -> Status:
    if unlisted >= LEADS:
        return "unlisted"
    if sure >= CONFIRMED and not left and provable and relative <= 1 - CONFIRMED:
        return "confirmed"
    return "likely" if sure >= LIKELY and relative < LEADS else "undecided"


def _relative(key: Key, answers: Answers, photos: PhotoEvidence | None, lead: int) -> float:
    """P(a relative that is not listed), against the lead; photos speak only of species that they know."""
    known = photos.log_likelihood.get(key.flora.ids[lead]) if photos is not None else None
    photo = float(np.exp(photos.log_likelihood_other - known)) if photos is not None and known is not None else 1.0
    config = key.prior_config
    return relative_probability(key.likelihoods, answers, lead, config.relatives, config.alike, photo)


def _question(key: Key, p: Array, answers: Answers, lead: int, left: list[int], settled: bool) -> Question | None:
    if not settled:
        return next_question(key.likelihoods, p, answers)
    against_relative = None if left else telling(key.likelihoods, lead, key.prior_config.alike)
    return next_question(key.likelihoods, p, answers, left, against_relative)


def _shown(p: Array) -> list[int]:
    order = np.argsort(-p[:-1], kind="stable")
    return [int(i) for place, i in enumerate(order) if place < SHOWN or p[i] >= LEAST_SHOWN]


def _candidate(key: Key, row: int, p: Array, answers: Answers, photos: PhotoEvidence | None) -> Candidate:
    plant = key.flora.species[key.flora.ids[row]]
    verdicts = {c: key.likelihoods.tables[c].verdict(answer, row) for c, answer in answers.items()}
    return Candidate(
        species=plant.id,
        scientific_name=plant.scientific_name,
        common_name=plant.common_name,
        probability=float(p[row]),
        photo_probability=photos.probabilities.get(plant.id) if photos is not None else None,
        agrees=tuple(c for c, v in verdicts.items() if v == "agrees"),
        disagrees=tuple(c for c, v in verdicts.items() if v == "disagrees"),
        evidence=_evidence(plant.id, photos),
    )


def _evidence(species: str, photos: PhotoEvidence | None) -> Kind | None:
    if photos is None:
        return None
    if species in photos.probabilities:
        return "photographed"
    return "drawn" if isinstance(photos, Hinted) and species in photos.hint else None


def _override(key: Key, answers: Answers, photos: PhotoEvidence | None, lead: int, p: Array) -> Override | None:
    """The photo's first choice was a species, and the answers now put another hypothesis first."""
    if photos is None or not answers or not photos.probabilities:
        return None
    first = max(photos.probabilities, key=lambda s: photos.probabilities[s])
    if photos.probabilities[first] < 1 - sum(photos.probabilities.values()) or first not in key.index:
        return None
    now = len(p) - 1 if p[-1] >= LEADS else lead
    if now == key.index[first]:
        return None
    ratios = {}
    for character, answer in answers.items():
        row = key.likelihoods.tables[character].likelihood(answer)
        ratios[character] = float(row[now] / row[key.index[first]])
    decisive = sorted((c for c in ratios if ratios[c] >= MOVED), key=lambda c: -ratios[c])
    reasons = tuple(_reason(key, first, c, answers[c], ratios[c]) for c in decisive)
    says = "unlisted" if now == len(p) - 1 else key.flora.ids[now]
    return Override(photo_said=first, answers_say=says, reasons=reasons)


def _reason(key: Key, overturned: str, character: str, answer: Answer, ratio: float) -> dict[str, Any]:
    return {
        "character": character,
        "answered": list(answer) if isinstance(answer, tuple) else answer,
        "would_have_shown": would_show(key.flora, overturned, character),
        "ratio": round(ratio, 1),
    }


def would_show(flora: Flora, species: str, character: str) -> str:
    """What a species shows for a character, in words."""
    if not flora.is_applicable(species, character):
        return "has no such part"
    score = flora.species[species].characters.get(character)
    question = flora.characters[character]
    if score is None or isinstance(score, str):
        return "not known"
    if score.states is not None:
        return "; ".join(f"{question.states[s]} ({f})" for s, f in score.states.items())
    if score.months is not None:
        return "months " + ", ".join(str(m) for m in score.months)
    low, high = score.range or (0, 0)
    return f"{low:g} to {high:g} {question.unit}"
