"""What identify returns: a name, how sure, why, and what to ask next; and what it needs to know of photos."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol

from model.flora.character import PARTS, Part

if TYPE_CHECKING:
    from model.decide import Decider
    from model.traits.question import Question

Status = Literal["confirmed", "likely", "undecided", "unlisted"]
CONFIRMED, LIKELY, LEADS = 0.95, 0.70, 0.50  # probability from which a plant is confirmed, likely, or leads
Kind = Literal["photographed", "drawn"]  # "drawn" no longer occurs; readers of older output may meet it
Stop = Literal["proven", "asked enough", "too often unsure", "nothing left"]


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

    ``evidence``: whether the photos were compared with photos of it; None where the photo model does not know it.
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

    ``reasons``: the deciding answers, strongest first, each with its character, what was answered, what the overturned
    species would have shown, and the likelihood ratio in favour.
    """

    photo_said: str
    answers_say: str
    reasons: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Finding:
    """The result of identify. ``as_json`` describes every field."""

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
    visible: tuple[Part, ...] = PARTS
    set_aside: tuple[str, ...] = ()
    outside_to_exclude: tuple[str, ...] = ()
    hangs_on: str | None = None
    stop: Stop | None = None
    would_decide: tuple[Decider, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The Finding as plain data that JSON can hold, as ``identify --json`` and ``ask --json`` print it.

        ``status``: confirmed, likely, undecided or unlisted. ``species``: id of the plant that is named, or null;
        ``probability``: of it. All probabilities are 0 to 1. ``unlisted_probability``: of a plant unlike any listed;
        ``relative_probability``: of an unlisted one similar to the first candidate, against it, or null.
        ``candidates``: best first, the first ten and all others of 0.001 or more, each with its answers for
        (``agrees``) and against it (``disagrees``), ids of characters in the order given.
        ``species_count``: how many plants are listed in all.
        ``override``: what the photo said, what the answers say, and for which reasons; or null. ``next_question``: the
        character to ask next with its wording, ``part`` (leaves, flowers, seeds, roots), states in their order, and
        ``groups`` of states where there are many; null where nothing more is asked. ``stop``: why not: proven, asked
        enough, too often unsure, or nothing left; null while there is a question. ``would_decide``: what would be most
        informative then, best first: the character, its part, ``how`` to see it (photo, look, dig, wait), and the
        ``months`` (1-12) in which it can be seen, empty for any. ``still_to_exclude``: look-alikes not distinguished
        from ``species`` yet, ``outside_to_exclude``: those that are not listed, by name. ``hangs_on``: the one answer
        without which the name would be lost, or null. ``visible``: the parts that can be seen, all where that was not
        given; ``set_aside``: characters that were answered, but are of other parts. ``photos``: notes on each photo.
        """
        data = asdict(self)
        question = self.next_question
        data["next_question"] = question and {
            "character": question.character.id,
            "text": question.character.question,
            "look": question.character.look,
            "otherwise": question.character.otherwise,
            "kind": question.character.kind,
            "unit": question.character.unit,
            "part": question.character.part,
            "states": dict(question.character.states),
            "groups": {name: group.model_dump() for name, group in question.character.groups.items()},
            "bits": round(question.bits, 3),
        }
        data["would_decide"] = [
            {"character": one.character, "part": one.part, "how": one.how, "months": list(one.months)}
            for one in self.would_decide
        ]
        return data
