"""Claims about the questions of the key, measured with a simulated observer.

Run ``python -m tests.claims.test_questions`` to print the table of the README.
"""

from __future__ import annotations

import sys

import numpy as np
import pytest

from model.identify import Key, Observation, identify
from model.traits import Answers, check_answer, next_question
from tests.claims.observer import Session, SimulatedObserver, interview, simulated_photo

SEED = 20261125


def sessions(
    key: Key, top1: float | None, draws: int, region: str | None = None, seed: int = SEED, stop: float = 0.95
) -> list[Session]:
    """``draws`` interviews with species drawn from the prior (evenly, or by region)."""
    from model.prior import prior

    random = np.random.default_rng(seed)
    observer = SimulatedObserver(key)
    weights = prior(key.flora, key.prior_config, region=region)[:-1]
    found = []
    for species in random.choice(np.array(key.flora.ids), size=draws, p=weights / weights.sum()):
        name = str(species)
        photo = None if top1 is None else simulated_photo(key, name, top1, random)

        def say(character: object, name: str = name) -> object:
            return observer.answer(name, character, random)  # type: ignore[arg-type]

        found.append(interview(key, name, say, photo, stop=stop, region=region))
    return found


def summary(found: list[Session]) -> tuple[float, float, float, float]:
    """Mean questions of all, mean of those that reached 0.95, share right when it stops, share that reached."""
    asked = np.array([s.questions for s in found])
    right = np.array([s.said == s.species for s in found])
    reached = np.array([s.reached for s in found])
    return float(asked.mean()), float(asked[reached].mean()), float(right.mean()), float(reached.mean())


def share_within_three(key: Key, species: list[str], seed: int = SEED) -> float:
    """Eight answers of which one, at any place, is wild: share with the true species in the first three.

    The other seven are those of a faultless observer. Where the plant lacks the part that is
    asked about, that observer is unsure, which is no answer: the next question follows.
    """
    random = np.random.default_rng(seed)
    kept = []
    for name in species:
        for wild in range(8):
            answers = _eight_answers(key, name, wild, random)
            kept.append(name in [c.species for c in identify(key, answers).candidates[:3]])
    return float(np.mean(kept))


def _eight_answers(key: Key, name: str, wild: int, random: np.random.Generator) -> Answers:
    observer = SimulatedObserver(key, wrong=0.0, unsure=0.0)
    answers: Answers = {}
    while (given := sum(a != () for a in answers.values())) < 8:
        question = next_question(key.likelihoods, key.posterior(Observation(answers)), answers)
        if question is None:
            break
        character = question.character
        table = key.likelihoods.tables[character.id]
        said = observer.likeliest(name, character)
        if given == wild:
            own = table.truth[key.index[name]]
            never = [a for a, share in zip(table.answers, own, strict=True) if share < 0.01 * own.max()]
            said = random.choice(np.array(never, dtype=object)) if never else said
        answers[character.id] = check_answer(character, said)
    return answers


def test_answers_alone_name_the_plant_within_the_goal(key: Key) -> None:
    mean, to_name, right, _ = summary(sessions(key, None, 150))
    # Measured: see the README. The margins are three standard errors of 150 draws.
    assert to_name <= 6.8 and mean <= 7.5 and right >= 0.83


def test_a_photo_saves_questions(key: Key) -> None:
    mean, _, right, _ = summary(sessions(key, 0.75, 400))
    # Measured 97.5 % of 2,400 plants after 2.2 questions; three standard errors of 400. Goals: 2 questions, 98 % right.
    assert mean <= 2.5 and right >= 0.95


def test_one_wild_answer_in_eight_keeps_the_true_species_in_the_first_three(key: Key) -> None:
    assert share_within_three(key, list(key.flora.ids[::4])) >= 0.99


@pytest.mark.parametrize("answers", [{}, {"leaf_build": "grassy"}, {"milky_sap": "present"}])
def test_the_bits_of_a_question_are_those_of_a_plain_formula(key: Key, answers: dict[str, str]) -> None:
    """The fast formula against a plain one, answer by answer."""
    given = {c: check_answer(key.flora.characters[c], a) for c, a in answers.items()}
    p = key.posterior(Observation(given))
    question = next_question(key.likelihoods, p, given)
    assert question is not None
    table = key.likelihoods.tables[question.character.id]

    def entropy(q: np.ndarray) -> float:
        q = q[q > 0]
        return float(-(q * np.log2(q)).sum())

    gain = 0.0
    for column in table.rows.T:
        whole = float(p @ column)
        gain += whole * (entropy(p) - entropy(p * column / whole))
    assert question.bits == pytest.approx(gain, rel=1e-9)


def main(draws: int = 4000) -> None:
    """Print the table of claims."""
    key = Key()
    print(f"{len(key.flora.ids)} species, {len(key.flora.characters)} characters; {draws} simulated plants a row;")
    print("answers wrong 10 %, unsure 10 %; an interview stops at P >= 0.95, or when no question is left")
    print()
    print("| starts from | plants drawn | questions, all | questions to 0.95 | right when it stops | reached 0.95 |")
    print("|---|---|---|---|---|---|")
    for label, top1 in (("answers alone", None), ("photo, top-1 0.60", 0.60), ("photo, top-1 0.75", 0.75)):
        for drawn, region in (("evenly", None), ("as common in lawns", "southern_australia")):
            mean, to_name, right, reached = summary(sessions(key, top1, draws, region))
            print(f"| {label} | {drawn} | {mean:.2f} | {to_name:.2f} | {right:.1%} | {reached:.1%} |")
    proven = [s for s in sessions(key, None, draws, stop=2.0) if s.status == "confirmed"]
    asked, right = np.mean([s.questions for s in proven]), np.mean([s.said == s.species for s in proven])
    print("\nAsking on until every look-alike and a relative outside the flora are excluded: ", end="")
    print(f"{len(proven) / draws:.1%} end confirmed, after {asked:.2f} questions")
    print(f"on average, {right:.1%} of them right")
    kept = share_within_three(key, list(key.flora.ids))
    print(f"\nOne wild answer in eight, every species and place: true species in the first three {kept:.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
