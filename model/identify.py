"""Combine prior, photos and answers into a Finding: a name, how sure, why, and what to ask next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.decide import Decider, deciders
from model.finding import (
    CONFIRMED,
    LEADS,
    LIKELY,
    Candidate,
    Finding,
    Kind,
    Override,
    PhotoEvidence,
    Status,
    Stop,
)
from model.flora import Species
from model.flora.character import PARTS
from model.flora.load import CONFIGS, Flora, Reader, load_flora, with_own
from model.override import override_of, would_show
from model.prior import PriorConfig, load_prior, prior, season_month
from model.proof import KEPT, Proof, least_kept, normalised, outside_left, unseparated
from model.traits import (
    Age,
    Answers,
    Likelihoods,
    Observer,
    Visible,
    age,
    expected_evidence,
    in_sight,
    load_observer,
    next_question,
    out_of_sight,
    relative_probability,
    visible_log_likelihood,
)
from model.traits.question import Question

__all__ = [
    "CONFIRMED", "LEADS", "LIKELY", "Candidate", "Finding", "Key", "Kind", "Observation", "Override", "PhotoEvidence",
    "Status", "identify", "would_show",
]  # fmt: skip

Array = NDArray[np.float64]
MOST_ASKED = 12  # questions in one interview
MOST_UNSURE = 4  # of them unsure: this person cannot see what decides, or not today
SHOWN, LEAST_SHOWN = 10, 0.001  # a Finding lists ten candidates, and all others of this probability or more
DATED = "flowering_month"  # the character that the month answers where flowers are in sight


@dataclass(frozen=True)
class Observation:
    """What is known of one plant; everything may be missing.

    ``answers`` as check_answers returns them; ``month`` 1-12; ``region`` of configs/prior.yaml; ``visible`` the parts
    that can be seen, None when that was not given.
    """

    answers: Answers = field(default_factory=dict)
    photos: PhotoEvidence | None = None
    month: int | None = None
    region: str | None = None
    visible: Visible | None = None


class Key:
    """The flora with its likelihoods and prior, loaded once and used for many plants.

    ``own`` are the user's own species, from files in ``own_folder``; ``observer`` replaces configs/observer.yaml.
    """

    def __init__(
        self,
        configs: Path = CONFIGS,
        read: Reader | None = None,
        own: Mapping[str, Species] | None = None,
        own_folder: Path = CONFIGS / "species",
        observer: Observer | None = None,
    ) -> None:
        flora = load_flora(configs, read)
        self.flora: Flora = with_own(flora, own, own_folder) if own else flora
        self._observer = observer or load_observer(configs)
        self._aged: dict[Age, Likelihoods] = {}
        self.prior_config: PriorConfig = load_prior(configs)

    @cached_property
    def index(self) -> dict[str, int]:
        """Row of each species in every array."""
        return {species: i for i, species in enumerate(self.flora.ids)}

    @property
    def likelihoods(self) -> Likelihoods:
        """The tables for plants of unknown age."""
        return self.at("unknown")

    def at(self, stage: Age) -> Likelihoods:
        """The tables for plants of one age, made when they are first needed."""
        if stage not in self._aged:
            self._aged[stage] = Likelihoods(self.flora, self._observer, stage)
        return self._aged[stage]

    def posterior(self, seen: Observation) -> Array:
        """P(hypothesis | observation), float (species + 1,), sums to 1, last is unlisted."""
        return normalised(self.logs(seen))

    def logs(self, seen: Observation) -> Array:
        """ln of the posterior up to a constant, float (species + 1,)."""
        counted = in_sight(seen.answers, out_of_sight(self.flora.characters, seen.visible))
        logs = np.log(prior(self.flora, self.prior_config, seen.month, seen.region))
        logs += self.at(age(seen.visible)).log_likelihood(counted)
        local = season_month(self.prior_config, seen.month, seen.region)
        dated = counted.get(DATED, ()) != ()
        logs += visible_log_likelihood(self.flora, self._observer, seen.visible, local, dated)
        if seen.photos is not None:
            logs += photo_log_likelihood(self.flora, seen.photos)
        return logs


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
    visible: Visible | None = None,
) -> Finding:
    """Name a plant from an Observation of these fields. Answers on parts that cannot be seen are set aside.

    A photo alone never confirms. `confirmed` needs P >= 0.95, and 0.80 with any one answer left out; for every
    look-alike in the flora, two answers that distinguish it or one that is not a known slip; for each look-alike
    outside the flora that the species file names, an answer on a character that distinguishes it; and enough answers
    to make an unlisted relative improbable. Where that relative is too probable, nothing is named. `unlisted` needs
    that hypothesis to outweigh all species together.
    """
    return _Naming(key, Observation(answers, photos, month, region, visible)).finding()


class _Naming:
    """One plant being named: its observation, the posterior, the leading species and how well that is proven."""

    def __init__(self, key: Key, seen: Observation) -> None:
        self.key, self.seen = key, seen
        self.hidden = out_of_sight(key.flora.characters, seen.visible)
        self.answers = in_sight(seen.answers, self.hidden)
        self.likelihoods = key.at(age(seen.visible))
        self.logs = key.logs(seen)
        self.p = normalised(self.logs)
        self.lead = int(self.p[:-1].argmax())
        self.proof = self._proof()

    def _proof(self) -> Proof:
        flora, answers, lead = self.key.flora, self.answers, self.lead
        kept, hangs_on = least_kept(self.likelihoods, self.logs, answers, lead)
        return Proof(
            sure=float(self.p[lead]),
            unlisted=float(self.p[-1]),
            relative=self._relative(),
            left=unseparated(self.likelihoods, flora, answers, lead),
            outside=outside_left(self.likelihoods, flora, answers, lead),
            kept=kept,
            hangs_on=hangs_on,
            # A species known by name only has no characters, so answers cannot prove it.
            provable=bool(answers) and bool(flora.species[flora.ids[lead]].characters),
        )

    def _relative(self) -> float:
        """P(an unlisted relative), against the lead; photos are evidence only on species that they know."""
        photos, config, photo = self.seen.photos, self.key.prior_config, 1.0
        known = photos.log_likelihood.get(self.key.flora.ids[self.lead]) if photos is not None else None
        if photos is not None and known is not None:
            photo = float(np.exp(photos.log_likelihood_other - known))
        return relative_probability(
            self.likelihoods, self.answers, self.lead, config.relatives, config.alike, photo, config.looks
        )

    def finding(self) -> Finding:
        """The Finding, with the next question or what would decide."""
        proof, ids, photos, visible = self.proof, self.key.flora.ids, self.seen.photos, self.seen.visible
        named = proof.status in ("confirmed", "likely")
        stop, question = self._next()
        return Finding(
            status=proof.status,
            species=ids[self.lead] if named else None,
            probability=proof.sure if named else None,
            unlisted_probability=float(self.p[-1]),
            candidates=self._candidates(),
            species_count=len(ids),
            override=override_of(self.likelihoods, self.answers, photos, self.lead, self.p),
            next_question=question,
            still_to_exclude=tuple(ids[i] for i in proof.left) if named else (),
            outside_to_exclude=tuple(str(entry.outside) for entry in proof.outside) if named else (),
            relative_probability=proof.relative if proof.sure >= LIKELY else None,
            photos=tuple(dict(photo) for photo in photos.photos) if photos is not None else (),
            visible=visible if visible is not None else PARTS,
            set_aside=tuple(c for c in self.seen.answers if c in self.hidden),
            hangs_on=proof.hangs_on if named and proof.kept < KEPT else None,
            stop=stop,
            would_decide=self._deciders() if question is None and proof.status != "confirmed" else (),
        )

    def _deciders(self) -> tuple[Decider, ...]:
        against_outside = self._separate_outside() if self.proof.sure >= LIKELY else set()
        return deciders(self.key.likelihoods, self.p, self.answers, self.hidden, self.proof.left, against_outside)

    def _separate_outside(self) -> set[str]:
        """The characters that distinguish the lead from what is left outside the flora."""
        return {c for entry in self.proof.outside for c in entry.separate_by}

    def _next(self) -> tuple[Stop | None, Question | None]:
        """Why nothing more is asked, or what is asked next."""
        proof, answers, likelihoods, month = self.proof, self.answers, self.likelihoods, self.seen.month
        if proof.status == "confirmed":
            return "proven", None
        if len(answers) >= MOST_ASKED:
            return "asked enough", None
        if sum(answer == () for answer in answers.values()) >= MOST_UNSURE:
            return "too often unsure", None
        dated = month is not None and "flowers" in (self.seen.visible or ())
        barred = {*self.hidden, DATED} if dated else self.hidden
        if proof.sure < CONFIRMED:
            question = next_question(likelihoods, self.p, answers, barred=barred)
        elif proof.kept >= KEPT or proof.hangs_on is None:
            question = self._proving(barred)
        else:
            # The name hangs on one answer: ask as if that one had not been given.
            without = self.logs - np.log(likelihoods.tables[proof.hangs_on].likelihood(answers[proof.hangs_on]))
            question = next_question(likelihoods, normalised(without), answers, barred=barred)
        return ("nothing left" if question is None else None), question

    def _proving(self, barred: set[str] | frozenset[str]) -> Question | None:
        """What to ask of a settled name: on look-alikes, then on those outside the flora, then on a relative.

        None where no answer to be had would prove more.
        """
        proof, likelihoods = self.proof, self.likelihoods
        against = expected_evidence(likelihoods, self.lead, self.key.prior_config.alike)
        outside = self._separate_outside()
        on_outside = np.where([c in outside for c in likelihoods.tables], against, 0.0)
        on_relative = against if proof.relative > 1 - CONFIRMED else np.zeros_like(against)
        for left, evidence in ((proof.left, None), ((), on_outside), ((), on_relative)):
            question = next_question(likelihoods, self.p, self.answers, left, evidence, barred, settled=True)
            if question is not None:
                return question
        return None

    def _candidates(self) -> tuple[Candidate, ...]:
        verdicts = {c: self.likelihoods.tables[c].verdicts(answer) for c, answer in self.answers.items()}
        photo = self.seen.photos.probabilities if self.seen.photos is not None else {}
        plants = list(self.key.flora.species.values())
        return tuple(
            Candidate(
                species=plants[row].id,
                scientific_name=plants[row].scientific_name,
                common_name=plants[row].common_name,
                probability=float(self.p[row]),
                photo_probability=photo.get(plants[row].id),
                agrees=tuple(c for c, verdict in verdicts.items() if verdict[row] > 0),
                disagrees=tuple(c for c, verdict in verdicts.items() if verdict[row] < 0),
                evidence="photographed" if plants[row].id in photo else None,
            )
            for row in _listed(self.p)
        )


def _listed(p: Array) -> list[int]:
    """Rows of the species that a Finding lists, best first."""
    order = np.argsort(-p[:-1], kind="stable")
    return [int(i) for place, i in enumerate(order) if place < SHOWN or p[i] >= LEAST_SHOWN]
