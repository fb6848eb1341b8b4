"""Answer files: read and written in their order, with what can be seen, and refused in one sentence."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.errors import AnswerError
from model.flora.character import PARTS
from model.identify import Key
from model.interview import Interview
from model.traits import answers_text, check_answers, check_visible, out_of_sight, read_answers

QUIET = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def written(path: Path, text: str) -> Path:
    path = path / "answers.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@st.composite
def some_answers(draw: st.DrawFn, key: Key) -> dict[str, Any]:
    characters = key.flora.characters
    found: dict[str, Any] = {}
    for name in draw(st.lists(st.sampled_from(list(characters)), max_size=9, unique=True)):
        character = characters[name]
        if draw(st.integers(0, 4)) == 0:
            found[name] = "unsure"
        elif character.kind == "choice":
            found[name] = draw(st.lists(st.sampled_from(list(character.states)), min_size=1, max_size=3, unique=True))
        elif character.kind == "month":
            found[name] = draw(st.integers(1, 12))
        else:
            low, high = character.domain or (1, 12)
            found[name] = float(f"{draw(st.floats(low, high)):.12g}")  # as many digits as are written
    return check_answers(characters, found)


VISIBLE = st.none() | st.lists(st.sampled_from(PARTS), min_size=1).map(check_visible)


@QUIET
@given(data=st.data())
def test_what_is_written_reads_the_same_in_the_same_order(key: Key, tmp_path: Path, data: st.DataObject) -> None:
    answers, visible = data.draw(some_answers(key)), data.draw(VISIBLE)
    path = written(tmp_path, answers_text(answers, visible))
    read, seen = read_answers(path, key.flora.characters)
    assert read == answers and list(read) == list(answers) and seen == visible


def test_a_month_is_understood_by_its_number_or_name_as_typed(key: Key) -> None:
    for typed in (9, "9", " September "):
        assert check_answers(key.flora.characters, {"flowering_month": typed}) == {"flowering_month": 9.0}


@QUIET
@given(data=st.data())
def test_answering_and_going_back_gives_the_state_before(key: Key, data: st.DataObject) -> None:
    """Any number of times; and changing one answer changes only that, in its place."""
    visible = data.draw(VISIBLE)
    hidden = out_of_sight(key.flora.characters, visible)
    steps = [(c, a) for c, a in data.draw(some_answers(key)).items() if c not in hidden]
    states = [Interview(key, visible=visible)]
    for character, answer in steps:
        given_answer = (list(answer) or "unsure") if isinstance(answer, tuple) else answer
        states.append(states[-1].answer(character, given_answer))
    for before, after in itertools.pairwise(states):
        assert after.back() == before and list(after.back().answers) == list(before.answers)
    for place, (character, _) in enumerate(steps):
        changed = states[-1].answer(character, "unsure")
        assert list(changed.answers) == [c for c, _ in steps]
        assert [a for c, a in changed.answers.items() if c != character] == [
            a for i, (_, a) in enumerate(steps) if i != place
        ]
        assert changed.answers[character] == () and changed.visible == states[-1].visible
    gone = states[-1]
    for _ in range(len(steps) + 1):
        gone = gone.back()
    assert gone.answers == {} and gone.visible == states[0].visible


@QUIET
@given(data=st.data())
def test_going_back_takes_the_latest_that_counts_and_leaves_what_is_set_aside(key: Key, data: st.DataObject) -> None:
    visible, answers = data.draw(VISIBLE), data.draw(some_answers(key))
    hidden = out_of_sight(key.flora.characters, visible)
    interview, counted = Interview(key, answers=answers, visible=visible), [c for c in answers if c not in hidden]
    for left in range(len(counted), -1, -1):
        assert list(interview.answers.items()) == [
            (c, a) for c, a in answers.items() if c in hidden or c in counted[:left]
        ]
        interview = interview.back()
    assert interview.back() == interview


@QUIET
@given(data=st.data())
def test_seeing_something_else_loses_no_answer(key: Key, data: st.DataObject) -> None:
    interview = Interview(key, answers=data.draw(some_answers(key)))
    seen = interview.see(data.draw(VISIBLE)).see(data.draw(VISIBLE))
    assert list(seen.answers.items()) == list(interview.answers.items())
    assert seen.see(None) == interview


def test_what_can_be_seen_stands_first_and_may_stand_anywhere(key: Key, tmp_path: Path) -> None:
    answers = check_answers(
        key.flora.characters, {"spines": "none", "leaf_build": ["simple", "feather"], "plant_height": 4.5}
    )
    assert answers_text(answers, ("leaves", "seeds")) == (
        "visible: [leaves, seeds]\nspines: none\nleaf_build: [simple, feather]\nplant_height: 4.5\n"
    )
    assert answers_text({}, None) == "" and answers_text({}, ("roots",)) == "visible: [roots]\n"
    for text in (
        "spines: none\nvisible: roots, leaves\nmilky_sap: unsure\n",
        "visible: [roots, leaves]\nspines: none\nmilky_sap: unsure\n",
    ):
        read, seen = read_answers(written(tmp_path, text), key.flora.characters)
        assert seen == ("leaves", "roots") and list(read.items()) == [("spines", ("none",)), ("milky_sap", ())]


@pytest.mark.parametrize(
    ("value", "text"),
    [(4.0, "4"), (0.3, "0.3"), (12.3456789, "12.3456789"), (123.456789012, "123.456789012"), (1 / 3, "0.333333333333")],
)
def test_numbers_keep_twelve_digits(value: float, text: str) -> None:
    assert answers_text({"plant_height": value}) == f"plant_height: {text}\n"


def test_a_file_that_does_not_say_leaves_it_open(key: Key, tmp_path: Path) -> None:
    assert read_answers(written(tmp_path, "spines: none\n"), key.flora.characters) == ({"spines": ("none",)}, None)
    assert read_answers(written(tmp_path, ""), key.flora.characters) == ({}, None)
    assert read_answers(written(tmp_path, "visible: [leaves]\n"), key.flora.characters) == ({}, ("leaves",))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("milky_sap: absent\nmilky_sap: present\n", "line 2: not valid YAML (milky_sap is given twice); fix that line"),
        ("visible: [leafs]\n", "visible: 'leafs' is not a part that the key asks about; did you mean leaves?"),
        ("visible: []\n", "visible: name what can be seen, one or more of leaves, flowers, seeds, roots"),
        ("visible:\n", "visible: name what can be seen"),
        ("visible: 3\n", "visible: name what can be seen"),
        ("visible: {leaves: yes}\n", "visible: name what can be seen"),
        ("visible: [[leaves], roots]\n", "visible: \"['leaves']\" is not a part"),
        ("visible: [leaves, {roots: 1}]\n", "is not a part that the key asks about"),
        ("visibel: [leaves]\n", "'visibel' is not a character of the key"),
        ("spines: nnoe\nvisible: [leaves]\n", "spines: 'nnoe' is not one of its states; did you mean none?"),
        ("- visible\n", "holds a list"),
        ("visible\n", "holds plain text"),
    ],
)
def test_a_mistake_in_a_file_is_reported_with_its_name(key: Key, tmp_path: Path, text: str, says: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(AnswerError) as error:
        read_answers(path, key.flora.characters)
    assert str(error.value).startswith(str(path)) and says in str(error.value) and "\n" not in str(error.value)


def test_no_character_is_called_as_what_can_be_seen(key: Key) -> None:
    assert "visible" not in key.flora.characters
