"""Fuse prior, photos and answers into a Finding: a name, how sure, why, and what to ask next."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.decide import Decider, deciders
from model.finding import Candidate, Finding, Kind, Override, PhotoEvidence, Stop
from model.flora import Species
from model.flora.character import PARTS
from model.flora.load import CONFIGS, Flora, Reader, load_flora, with_own
from model.override import override_of, would_show
from model.prior import PriorConfig, load_prior, prior, season_month
from model.proof import CONFIRMED, KEPT, LEADS, LIKELY, Proof, Status, least_kept, outside_left, unseparated, whole
from model.traits import (
    Age,
    Answers,
    Likelihoods,
    Observer,
    Visible,
    age,
    in_sight,
    load_observer,
    next_question,
    out_of_sight,
    relative_probability,
    telling,
    visible_log_likelihood,
)
from model.traits.question import Question

__all__ = [
    "CONFIRMED", "LEADS", "LIKELY", "Candidate", "Finding", "Key", "Kind", "Override", "PhotoEvidence", "Status",
    "identify", "would_show",
]  # fmt: skip

Array = NDArray[np.float64]
MOST_ASKED = 12  # answers after which no more is asked
MOST_UNSURE = 4  # of them unsure: what decides is then not to be had from this person, or not today
SHOWN, LEAST_SHOWN = 10, 0.001  # a Finding lists ten candidates, and all others of this probability or more
DATED = "flowering_month"  # the character that a month with flowers in sight answers by itself


class Key:
    """The flora with its likelihoods and prior, loaded once and used for many plants.

    ``own`` are species of the user's own, from files in ``own_folder``; ``observer`` says how people err, if not as
    configs/observer.yaml.
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
        """The tables for plants of which nobody has told what is to be seen."""
        return self.at("untold")

    def at(self, stage: Age) -> Likelihoods:
        """The tables for plants of one age, made when they are first needed."""
        if stage not in self._aged:
            self._aged[stage] = Likelihoods(self.flora, self._observer, stage)
        return self._aged[stage]

    def posterior(
        self,
        answers: Answers,
        photos: PhotoEvidence | None = None,
        month: int | None = None,
        region: str | None = None,
        visible: Visible | None = None,
    ) -> Array:
        """P(hypothesis | photos, answers, what can be seen), float (species + 1,), sums to 1, last is unlisted."""
        return whole(self.logs(answers, photos, month, region, visible))

    def logs(
        self,
        answers: Answers,
        photos: PhotoEvidence | None = None,
        month: int | None = None,
        region: str | None = None,
        visible: Visible | None = None,
    ) -> Array:
        """ln of the posterior up to a constant, float (species + 1,)."""
        counted = in_sight(answers, out_of_sight(self.flora.characters, visible))
        before = prior(self.flora, self.prior_config, month, region)
        logs = np.log(before) + self.at(age(visible)).log_likelihood(counted)
        local = season_month(self.prior_config, month, region)
        logs += visible_log_likelihood(self.flora, self._observer, visible, local, counted.get(DATED, ()) != ())
        if photos is not None:
            logs += photo_log_likelihood(self.flora, photos)
        return np.asarray(logs)


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
    """Name a plant from what is known of it.

    ``answers`` as check_answers gives them; ``month`` 1-12; ``visible`` the parts that can be seen, None when that was
    not told; all may be missing. Answers on parts that are not there are set aside.
    A photo alone never confirms: `confirmed` needs P >= 0.95, of which 0.80 must be left with any one answer taken
    away; for every look-alike in the flora, two answers that tell the two apart or one that is no known slip; for each
    outside of it that the species file names, an answer on what parts the two; and answers enough that a relative
    which is not listed is improbable too. Where that relative is too probable, nothing is named. `unlisted` needs that
    hypothesis to outweigh all species together.
    """
    hidden = out_of_sight(key.flora.characters, visible)
    counted, likelihoods = in_sight(answers, hidden), key.at(age(visible))
    logs = key.logs(answers, photos, month, region, visible)
    p = whole(logs)
    lead = int(p[:-1].argmax())
    proof = _proof(key, likelihoods, counted, photos, lead, p, logs)
    names = proof.status in ("confirmed", "likely")
    told = {*hidden, DATED} if month is not None and visible is not None and "flowers" in visible else hidden
    stop, question = _next(likelihoods, p, counted, lead, proof, told, key.prior_config.alike, logs)
    verdicts = {c: likelihoods.tables[c].verdicts(answer) for c, answer in counted.items()}
    wanted = question is None and proof.status != "confirmed"
    return Finding(
        status=proof.status,
        species=key.flora.ids[lead] if names else None,
        probability=proof.sure if names else None,
        unlisted_probability=float(p[-1]),
        candidates=tuple(_candidate(key, i, p, verdicts, photos) for i in _shown(p)),
        species_count=len(key.flora.ids),
        override=override_of(likelihoods, counted, photos, lead, p),
        next_question=question,
        still_to_exclude=tuple(key.flora.ids[i] for i in proof.left) if names else (),
        outside_to_exclude=tuple(str(entry.outside) for entry in proof.outside) if names else (),
        relative_probability=proof.relative if proof.sure >= LIKELY else None,
        photos=tuple(dict(photo) for photo in photos.photos) if photos is not None else (),
        visible=visible if visible is not None else PARTS,
        set_aside=tuple(c for c in answers if c in hidden),
        hangs_on=proof.hangs_on if names and proof.kept < KEPT else None,
        stop=stop,
        would_decide=_deciders(key, p, counted, hidden, proof) if wanted else (),
    )


def _deciders(key: Key, p: Array, answers: Answers, hidden: Collection[str], proof: Proof) -> tuple[Decider, ...]:
    parting = {c for entry in proof.outside for c in entry.separate_by} if proof.sure >= LIKELY else set()
    return deciders(key.likelihoods, p, answers, hidden, proof.left, parting)


def _proof(
    key: Key,
    likelihoods: Likelihoods,
    answers: Answers,
    photos: PhotoEvidence | None,
    lead: int,
    p: Array,
    logs: Array,
) -> Proof:
    kept, hangs_on = least_kept(likelihoods, logs, answers, lead)
    return Proof(
        sure=float(p[lead]),
        unlisted=float(p[-1]),
        relative=_relative(key, likelihoods, answers, photos, lead),
        left=unseparated(likelihoods, key.flora, answers, lead),
        outside=outside_left(likelihoods, key.flora, answers, lead),
        kept=kept,
        hangs_on=hangs_on,
        # Of a species that is known by name only no answer can speak, so none can prove it.
        provable=bool(answers) and bool(key.flora.species[key.flora.ids[lead]].characters),
    )


def _next(
    likelihoods: Likelihoods,
    p: Array,
    answers: Answers,
    lead: int,
    proof: Proof,
    barred: Collection[str],
    alike: float,
    logs: Array,
) -> tuple[Stop | None, Question | None]:
    """Why nothing more is asked, or what is asked next."""
    if proof.status == "confirmed":
        return "proven", None
    if len(answers) >= MOST_ASKED:
        return "asked enough", None
    if sum(answer == () for answer in answers.values()) >= MOST_UNSURE:
        return "too often unsure", None
    if proof.sure < CONFIRMED:
        question = next_question(likelihoods, p, answers, barred=barred)
    elif proof.kept >= KEPT or proof.hangs_on is None:
        question = _proving(likelihoods, p, answers, proof, barred, telling(likelihoods, lead, alike))
    else:
        # The name hangs on one answer: ask as if that one had not been given.
        without = logs - np.log(likelihoods.tables[proof.hangs_on].likelihood(answers[proof.hangs_on]))
        question = next_question(likelihoods, whole(without), answers, barred=barred)
    return ("nothing left" if question is None else None), question


def _proving(
    likelihoods: Likelihoods, p: Array, answers: Answers, proof: Proof, barred: Collection[str], against: Array
) -> Question | None:
    """What to ask of a name that stands: first on look-alikes, then on those outside the flora, then on a relative.

    Nothing where no answer that can be had would prove more.
    """
    parting = {c for entry in proof.outside for c in entry.separate_by}
    on_outside = np.where([c in parting for c in likelihoods.tables], against, 0.0)
    tells = against if proof.relative > 1 - CONFIRMED else np.zeros_like(against)
    for left, told in ((proof.left, None), ((), on_outside), ((), tells)):
        question = next_question(likelihoods, p, answers, left, told, barred, settled=True)
        if question is not None:
            return question
    return None


def _relative(key: Key, likelihoods: Likelihoods, answers: Answers, photos: PhotoEvidence | None, lead: int) -> float:
    """P(a relative that is not listed), against the lead; photos speak only of species that they know."""
    known = photos.log_likelihood.get(key.flora.ids[lead]) if photos is not None else None
    photo = float(np.exp(photos.log_likelihood_other - known)) if photos is not None and known is not None else 1.0
    config = key.prior_config
    return relative_probability(likelihoods, answers, lead, config.relatives, config.alike, photo, config.looks)


def _shown(p: Array) -> list[int]:
    order = np.argsort(-p[:-1], kind="stable")
    return [int(i) for place, i in enumerate(order) if place < SHOWN or p[i] >= LEAST_SHOWN]


def _candidate(
    key: Key, row: int, p: Array, verdicts: Mapping[str, list[str | None]], photos: PhotoEvidence | None
) -> Candidate:
    plant = key.flora.species[key.flora.ids[row]]
    return Candidate(
        species=plant.id,
        scientific_name=plant.scientific_name,
        common_name=plant.common_name,
        probability=float(p[row]),
        photo_probability=photos.probabilities.get(plant.id) if photos is not None else None,
        agrees=tuple(c for c, told in verdicts.items() if told[row] == "agrees"),
        disagrees=tuple(c for c, told in verdicts.items() if told[row] == "disagrees"),
        evidence=_evidence(plant.id, photos),
    )


def _evidence(species: str, photos: PhotoEvidence | None) -> Kind | None:
    return "photographed" if photos is not None and species in photos.probabilities else None
