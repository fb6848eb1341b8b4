"""The interview in the terminal: what can be seen first, long lists in two steps, and an end that says what to do."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from rich.console import Console

from app.commands.ask import TO_SEE, Dialogue
from model.flora.character import PARTS, Character
from model.identify import Key
from model.interview import Interview
from model.prior import region_named
from model.traits import out_of_sight
from tests.claims.observer import SimulatedObserver

Talk = Callable[..., tuple[Interview, str]]
BINDII = "soliva_sessilis"


@pytest.fixture
def talk(key: Key, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Talk:
    """Hold an interview with what is typed; how it stood at the end, and all that was said."""
    monkeypatch.setenv("COLUMNS", "120")

    def hold(*typed: str, start: Interview | None = None) -> tuple[Interview, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in typed)))
        end = Dialogue(Console(highlight=False), start or Interview(key, month=7)).hold()
        return end, capsys.readouterr().out

    return hold


def asking(key: Key, character: str) -> Interview:
    """An interview whose next question is about that character: all others are left out."""

    class Only(Interview):
        @property
        def question(self):  # type: ignore[no-untyped-def]
            from model.traits import Question

            return None if character in self.answers else Question(self.key.flora.characters[character], 1.0)

    return Only(key, visible=PARTS)


def grouped(key: Key) -> Character:
    return next(c for c in key.flora.characters.values() if any(len(g.states) == 1 for g in c.groups.values()))


def test_it_begins_with_what_can_be_seen(talk: Talk) -> None:
    end, said = talk("1,4", "q")
    assert said.index("What can you see or reach?") < said.index("answered")
    assert list(TO_SEE) == list(PARTS), "numbers are in the order of the parts"
    assert end.visible == ("leaves", "roots")
    for typed, visible in {"roots, leaves": ("leaves", "roots"), "": None, "u": None, "1,2,3,4": PARTS}.items():
        assert talk(typed, "q")[0].visible == visible, typed


@pytest.mark.parametrize(
    ("typed", "says"),
    {"5": "5 is not in the list", "0": "not in the list", "leafs": "leaves?", ",": "as in 1,4"}.items(),
)
def test_what_cannot_be_understood_is_asked_again(talk: Talk, typed: str, says: str) -> None:
    end, said = talk(typed, "2", "q")
    assert said.count(says) == (2 if typed == "," else 1) and end.visible == ("flowers",)


def test_it_is_not_asked_where_it_was_told_and_can_be_changed_later(talk: Talk, key: Key) -> None:
    end, said = talk("q", start=Interview(key, visible=("leaves",)))
    assert "What can you see or reach?" not in said and end.visible == ("leaves",)
    start = Interview(key, visible=PARTS).answer("seed_structure", "winged_spine_seed")
    end, said = talk("v", "1", "q", start=start)
    assert end.visible == ("leaves",) and end.answers == start.answers
    assert "Set aside, as that part cannot be seen: seed structure: " in said
    assert talk("v", start=start)[0] is start, "the end of what is typed is stop"


def test_a_long_list_is_asked_in_two_steps_with_a_way_back(talk: Talk, key: Key) -> None:
    character = key.flora.characters["leaf_outline"]
    start = asking(key, character.id)
    groups = list(character.groups.values())
    state = groups[1].states[-1]
    end, said = talk("1", "b", "2", str(len(groups[1].states)), start=start)
    assert end.answers == {character.id: (state,)}
    first = said.index(groups[0].text)
    assert said.index(groups[1].text) > first, "the groups come first"
    assert said.index(f"({groups[0].states[0]})") < said.index(f"({groups[1].states[0]})"), "then the states of one"
    assert said.count(groups[0].text) == 2, "b went back to the groups"
    assert said.count(f"({state})") == 1, "states are shown of the group that was picked only"


def test_names_of_states_are_always_understood_and_numbers_only_as_listed(talk: Talk, key: Key) -> None:
    character = key.flora.characters["leaf_outline"]
    start = asking(key, character.id)
    one, two = (group.states[0] for group in list(character.groups.values())[:2])
    assert talk(two, start=start)[0].answers == {character.id: (two,)}
    assert talk(f"{one}, {two}", start=start)[0].answers == {character.id: (one, two)}
    assert talk("1", two, start=start)[0].answers == {character.id: (two,)}, "of another group than the one picked"
    end, said = talk("9", "1,2", "1", "9", "1", start=start)
    assert said.count("9 is not in the list") == 2 and "pick one group" in said
    assert end.answers == {character.id: (one,)}


def test_a_group_of_one_state_is_the_answer(talk: Talk, key: Key) -> None:
    character = grouped(key)
    number, group = next((n, g) for n, g in enumerate(character.groups.values(), start=1) if len(g.states) == 1)
    end, _ = talk(str(number), start=asking(key, character.id))
    assert end.answers == {character.id: tuple(group.states)}


def test_a_short_list_takes_several_numbers(talk: Talk, key: Key) -> None:
    character = key.flora.characters["leaf_hairs"]
    first, second = list(character.states)[:2]
    assert talk("2, 1", start=asking(key, character.id))[0].answers == {character.id: (first, second)}


def test_back_takes_the_latest_answer_away_and_a_change_leaves_the_others(talk: Talk) -> None:
    two, _ = talk("1", "u", "u", "q")
    first, second = two.answers
    assert list(talk("1", "u", "u", "b", "q")[0].answers) == [first]
    assert list(talk("1", "u", "u", "b", "u", "q")[0].answers) == [first, second], "the same is asked again"
    end, said = talk("1", "b", "q")
    assert end.answers == {} and "nothing is answered yet" in said
    changed, _ = talk("1", "u", "u", "c", "1", "u", "q")
    assert list(changed.answers.items()) == list(two.answers.items())


def typed_for(key: Key, species: str, start: Interview) -> tuple[list[str], Interview]:
    """What a faultless observer of one plant types, and the interview that comes of it."""
    observer, interview, typed = SimulatedObserver(key, visible=start.visible), start, []
    while (question := interview.question) is not None:
        said = observer.likeliest(species, question.character)
        typed.append(str(said))
        interview = interview.answer(question.character.id, said)
    return typed, interview


@pytest.mark.parametrize("visible", [("leaves",), ("leaves", "flowers"), PARTS], ids=len)
def test_a_whole_session_ends_with_the_name_or_with_what_would_settle_it(
    talk: Talk, key: Key, visible: tuple[str, ...]
) -> None:
    start = Interview(key, None, 7, region_named(key.prior_config, None), {}, visible)  # type: ignore[arg-type]
    typed, expected = typed_for(key, BINDII, start)
    end, said = talk(*typed, start=start)
    assert end == expected and len(typed) <= 12
    assert not set(end.answers) & out_of_sight(key.flora.characters, start.visible)
    assert re.search(r"(Confirmed|Likely): bindii \(Soliva sessilis\)", said)
    assert "Next question" not in said
    if end.finding.status != "confirmed":
        flat = " ".join(said.split())
        assert "What would settle it, as a message to the person who has the plant:" in flat
        assert "Thanks for sending this in." in flat and "bindii" not in flat.split("Thanks for")[1]


def test_no_plant_is_put_forward_of_which_little_is_known(talk: Talk, key: Key) -> None:
    end, said = talk("", "q")
    assert end.finding.candidates[0].probability < 0.10
    assert "no plant stands out yet" in said and f"{len(key.flora.ids)} plants, none of them at 10 %" in said
    assert not any(plant.scientific_name in said for plant in key.flora.species.values())
