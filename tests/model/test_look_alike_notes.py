"""Notes on look-alikes are printed beside either name, so they name the plants and never point at them."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from model.flora import Flora
from model.flora.species import LookAlike, Species
from model.identify import Key

# Words that only mean something while one knows whose file is open.
POINTING = re.compile(
    r"\bth(?:is|at) one\b|\bthe other\b(?! (?:two|three))|\bthe (?:former|latter)\b|\bwithout that\b"
    r"|\bthis (?:plant|species|weed|(?:summer )?grass)\b|\bthis is\b|\bhere (?:it|they)\b",
    re.IGNORECASE,
)
# Two unlisted plants that are named together, and told apart in the note by what they look like.
OF_A_PAIR = {"Ranunculus muricatus and R. sceleratus (annual buttercups)"}
ORDINARY = {"grass", "weed", "common", "plant", "small", "leaved", "summer", "wild", "annual", "creeping"}
# What the note on broad-leaved carpet grass says of the word as it is used in the north.
ANOTHER_USE = re.compile(r"called buffalo|both are called", re.IGNORECASE)


def notes(flora: Flora) -> Iterator[tuple[Species, LookAlike]]:
    """Every note on a look-alike, with the plant in whose file it stands."""
    return ((plant, entry) for plant in flora.species.values() for entry in plant.look_alikes)


def in_the_flora(flora: Flora) -> Iterator[tuple[Species, Species, str]]:
    """Of every pair on file: the two plants, and the note."""
    for plant, entry in notes(flora):
        if entry.species is not None:
            yield plant, flora.species[entry.species], entry.note


def telling_words(plant: Species) -> set[str]:
    """Its name, and the words of it that are its own."""
    name = plant.common_name.lower()
    return {name} | {word for word in re.findall(r"[a-z]{4,}", name) if word not in ORDINARY}


def test_no_note_points_at_a_plant_instead_of_naming_it(key: Key) -> None:
    pointing = [
        (plant.id, entry.note)
        for plant, entry in notes(key.flora)
        if POINTING.search(entry.note) and entry.outside not in OF_A_PAIR
    ]
    assert pointing == []


def test_every_note_names_one_of_its_two_plants_as_the_key_does(key: Key) -> None:
    nameless = [
        (one.id, other.id, note)
        for one, other, note in in_the_flora(key.flora)
        if not any(word in note.lower() for plant in (one, other) for word in telling_words(plant))
    ]
    assert nameless == []


def test_no_note_calls_a_plant_by_the_shown_name_of_a_third(key: Key) -> None:
    shown = {plant.common_name.lower(): plant.id for plant in key.flora.species.values()}
    longest_first = re.compile(
        "|".join(rf"\b{re.escape(name)}\b(?!-)" for name in sorted(shown, key=len, reverse=True)), re.IGNORECASE
    )
    wrong = []
    for one, other, note in in_the_flora(key.flora):
        named = {shown[found.lower()] for found in longest_first.findall(note)}
        if named - {one.id, other.id} and not ANOTHER_USE.search(note):
            wrong.append((one.id, other.id, note))
    assert wrong == []


def test_notes_are_sentences(key: Key) -> None:
    """They follow the question "Ryegrass or winter grass?" in a plan."""
    loose = [entry.note for _, entry in notes(key.flora) if not (entry.note[0].isupper() and entry.note[-1] == ".")]
    assert loose == []


@pytest.mark.parametrize("note", ["Weak: this one has hairy blades, the other bare ones.", "Here they cover both."])
def test_such_a_note_would_be_found(note: str) -> None:
    assert POINTING.search(note)
