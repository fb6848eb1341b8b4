"""How the key does where only some parts of a plant can be seen.

Run ``python -m tests.claims.seasons [DRAWS]`` to print the tables: every species, in the months in which its file has
just these parts, answered by an observer who errs as configs/observer.yaml says, 10 % wrong and 10 % unsure. Leaves
only, with eight questions at most and with as many as the tool asks; leaves and flowers; bindii in July from leaves.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from model.flora.character import Character
from model.identify import MOST_ASKED, Key
from model.prior import prior
from model.traits import Visible, out_of_sight, visible_log_likelihood
from tests.claims.observer import Session, SimulatedObserver, interview

SEED = 20261129
MOST = 8
NAMED = (
    *("soliva_sessilis", "taraxacum_officinale", "euphorbia_maculata", "euphorbia_prostrata", "oxalis_corniculata"),
    *("oxalis_debilis", "oxalis_latifolia", "oxalis_pes_caprae", "portulaca_oleracea", "cyperus_rotundus"),
    *("cyperus_esculentus", "allium_triquetrum", "nothoscordum_borbonicum", "asphodelus_fistulosus"),
    *("parietaria_judaica", "arctotheca_calendula", "paspalum_dilatatum", "trifolium_repens", "cynodon_dactylon"),
    *("medicago_polymorpha", "sonchus_oleraceus", "hypochaeris_radicata"),
)
LEAVES: Visible = ("leaves",)
FLOWERS: Visible = ("leaves", "flowers")


@dataclass(frozen=True)
class Outcome:
    """How often a species came first, and among the first three; questions, and those on parts that cannot be seen."""

    first: float
    three: float
    questions: float
    hidden: int
    statuses: dict[str, float]


def asked(
    key: Key, species: str, visible: Visible, draws: int, random: np.random.Generator, most: int = MOST
) -> list[Session]:
    """Interviews about plants of one species, in months in which it is seen."""
    observer = SimulatedObserver(key, visible=visible)
    row, months = key.index[species], np.arange(1, 13)
    # In proportion to how often a plant of the species is seen in a month with just these parts.
    seen = [prior(key.flora, key.prior_config, month)[row] for month in months]
    parts = [np.exp(visible_log_likelihood(key.flora, observer.observer, visible, int(month))[row]) for month in months]
    chance = np.array(seen) * np.array(parts)

    def say(character: Character) -> object:
        return observer.answer(species, character, random)

    return [
        interview(
            key,
            species,
            say,
            stop=2.0,
            most=most,
            month=int(random.choice(months, p=chance / chance.sum())),
            visible=visible,
        )
        for _ in range(draws)
    ]


def outcome(key: Key, sessions: Iterable[Session], visible: Visible) -> Outcome:
    """The outcome of some interviews."""
    found = list(sessions)
    hidden = out_of_sight(key.flora.characters, visible)
    statuses: dict[str, float] = defaultdict(float)
    for session in found:
        right = session.species == session.ranks[0]
        statuses[session.status if right or session.status == "undecided" else f"{session.status}, wrongly"] += 1 / len(
            found
        )
    return Outcome(
        first=float(np.mean([s.species == s.ranks[0] for s in found])),
        three=float(np.mean([s.species in s.ranks[:3] for s in found])),
        questions=float(np.mean([s.questions for s in found])),
        hidden=sum(c in hidden for s in found for c in s.asked),
        statuses=dict(statuses),
    )


def bindii_in_july(key: Key, draws: int, most: int = 9) -> Outcome:
    """Bindii as it is treated: in July, from leaves, within nine questions."""
    random, observer = np.random.default_rng(SEED), SimulatedObserver(key, visible=LEAVES)

    def say(character: Character) -> object:
        return observer.answer("soliva_sessilis", character, random)

    sessions = [
        interview(key, "soliva_sessilis", say, None, 2.0, most, "southern_australia", 7, LEAVES) for _ in range(draws)
    ]
    return outcome(key, sessions, LEAVES)


def bits_of_missing_flowers(key: Key, heeds_season: bool) -> float:
    """Information from missing flowers and seed, in bits for the true species; below 0 it would mislead.

    Mean over species and the months in which each is seen. ``heeds_season``: plants flower as their files say, by the
    shares of configs/observer.yaml; else none ever does, as in turf that is always mown.
    """
    gained, weight = 0.0, 0.0
    for month in range(1, 13):
        before = prior(key.flora, key.prior_config, month)
        logs = visible_log_likelihood(key.flora, key.likelihoods.observer, LEAVES, month)
        after = before * np.exp(logs)
        gain = np.log2(after / after.sum() / before)[:-1]
        met = before[:-1] * (np.exp(logs[:-1]) if heeds_season else 1.0)
        gained, weight = gained + float(met @ gain), weight + float(met.sum())
    return gained / weight


def main(draws: int = 40) -> None:
    """Print the tables."""
    key = Key()
    for title, visible, most in (
        ("Leaves only", LEAVES, MOST),
        ("Leaves only", LEAVES, MOST_ASKED),
        ("Leaves and flowers", FLOWERS, MOST),
    ):
        random = np.random.default_rng(SEED)
        sessions = {s: asked(key, s, visible, draws, random, most) for s in key.flora.ids}
        every = outcome(key, (session for found in sessions.values() for session in found), visible)
        print(f"{title}: {len(sessions)} species, {draws} plants each, at most {most} questions")
        print(
            f"  first {every.first:.1%}, in the first three {every.three:.1%}, {every.questions:.2f} questions, ",
            end="",
        )
        print(f"{every.hidden} about parts that are not there")
        print("  ended: " + ", ".join(f"{word} {share:.1%}" for word, share in sorted(every.statuses.items())))
        print("\n| species | first | in the first three | questions |\n|---|---|---|---|")
        for species in NAMED:
            one = outcome(key, sessions[species], visible)
            print(f"| {species} | {one.first:.0%} | {one.three:.0%} | {one.questions:.1f} |")
        worst = sorted((outcome(key, found, visible).three, s) for s, found in sessions.items())[:12]
        print("\n  least often in the first three: " + ", ".join(f"{s} {three:.0%}" for three, s in worst) + "\n")
    helps, hurts = bits_of_missing_flowers(key, True), bits_of_missing_flowers(key, False)
    print(f"Missing flowers and seed: {helps:+.3f} bits; in turf where none ever show {hurts:+.3f} bits")
    bindii = bindii_in_july(key, 10 * draws)
    print(
        f"Bindii in July from leaves, with the region's prior, at most nine questions: first {bindii.first:.1%}, in ",
        end="",
    )
    print(f"the first three {bindii.three:.1%}; ended: {bindii.statuses}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
