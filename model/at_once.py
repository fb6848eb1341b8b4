"""Which few questions to put all at once to somebody who cannot be asked one after the other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from model.flora.character import PARTS, Character
from model.interview import Interview
from model.traits import age, next_question, out_of_sight
from model.traits.question import LEAST_APPLICABLE

MOST, LEAST = 4, 2  # questions
SETTLED = 0.9  # chance that nothing is left to ask, from which no further question is put
COURSES = 24  # of the interview that are followed side by side, the likeliest
SLIGHT = 0.02  # an answer less likely than that is not followed
READINGS = (1 / 6, 1 / 2, 5 / 6)  # quantiles by which the answers of a measurement are followed
BARRED = ("lens",)  # efforts: few people have a lens to hand
Course = tuple[float, Interview]


def questions_at_once(interview: Interview) -> tuple[Character, ...]:
    """The questions, MOST at most, that would decide; () where none is left.

    They are chosen as those of the interview, whose likeliest courses are followed side by side: the first is what
    would be asked next, each further one what most courses would ask then. An answer of unsure may be asked for again.
    Where nobody has said what can be seen, all but the last are about leaves, and the last may be about flowers.
    Where the interview has nothing more to ask, they are what would decide all the same.
    """
    known = replace(interview, answers={c: answer for c, answer in interview.answers.items() if answer != ()})
    characters = known.key.flora.characters
    if known.visible is not None:
        chosen = _followed(known, (), MOST)
    else:
        there = {"leaves", *(characters[name].part for name in known.answers)}
        known = known.see(tuple(part for part in PARTS if part in there))
        chosen = _followed(known, (), MOST - 1)
        chosen = _followed(known.see(tuple(part for part in PARTS if part in {*there, "flowers"})), chosen, MOST)
    if len(chosen) < LEAST:
        deciding = [characters[decider.character] for decider in known.finding.would_decide]
        chosen = (*chosen, *(c for c in deciding if c not in chosen))
    return chosen[:MOST]


def _followed(start: Interview, given: tuple[Character, ...], most: int) -> tuple[Character, ...]:
    """The questions ``given``, and more up to ``most``."""
    chosen = given
    courses: list[Course] = [(1.0, start)]
    for character in given:
        courses = _split(courses, character)
    barred = _barred(start)
    while len(chosen) < most:
        votes: Counter[str] = Counter()
        for weight, course in courses:
            if (wanted := _wanted(course, barred)) is not None:
                votes[wanted] += weight  # type: ignore[assignment]
        if not votes or (len(chosen) >= LEAST and sum(votes.values()) < 1 - SETTLED):
            break
        character = start.key.flora.characters[votes.most_common(1)[0][0]]
        chosen = (*chosen, character)
        courses = _split(courses, character)
    return chosen


def _wanted(course: Interview, barred: Collection[str]) -> str | None:
    """What an interview asks next, else the best that is not barred; None where it is over."""
    question = course.question
    if question is not None and question.character.id in barred:
        likelihoods = course.key.at(age(course.visible))
        question = next_question(likelihoods, course.posterior, course.answers, barred=barred)
    return question.character.id if question is not None else None


def _barred(start: Interview) -> frozenset[str]:
    """Characters that are not asked for: out of sight, too small, or of a part that many of the plants lack."""
    flora, probability = start.key.flora, start.posterior[:-1]
    have = probability @ start.key.likelihoods.applicable >= LEAST_APPLICABLE * probability.sum()
    lacking = {name for name, common in zip(flora.characters, have, strict=True) if not common}
    small = {c.id for c in flora.characters.values() if c.effort in BARRED}
    return out_of_sight(flora.characters, start.visible) | lacking | small


def _split(courses: list[Course], character: Character) -> list[Course]:
    """The courses with one more answer, for each that is not unlikely; their weights sum to 1."""
    found: list[Course] = []
    for weight, course in courses:
        table = course.key.at(age(course.visible)).tables[character.id]
        chances = course.posterior @ table.rows
        chances /= chances.sum()
        if character.kind == "choice":
            found += [
                (weight * float(chance), course.answer(character.id, [answer]))
                for answer, chance in zip(table.answers, chances, strict=True)
                if chance > SLIGHT
            ]
        else:
            places = np.searchsorted(chances.cumsum(), READINGS)
            found += [(weight / len(places), course.answer(character.id, table.answers[i])) for i in places]
    likeliest = sorted(found, key=lambda one: -one[0])[:COURSES]
    total = sum(weight for weight, _ in likeliest)
    return [(weight / total, course) for weight, course in likeliest]
