"""The text that comes back from whoever has the plant: what mail does to it, what is wrong with it, what it changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.services.reply import LONGEST, letters, read_reply, reply_text, sign_of, with_reply
from model.errors import AnswerError
from model.flora.load import load_characters
from model.identify import Key
from model.interview import Interview
from tests.app.conftest import Run

CHARACTERS = load_characters()
TEXT = "swardkey 1: see/leaves+flowers, leaf-edge/toothed, plant-height/12.5, milky-sap/unsure, sign/"
TEXT += sign_of("see/leaves+flowers,leafedge/toothed,plantheight/12.5,milkysap/unsure,")


def text_of(items: str, version: str = "1") -> str:
    return f"swardkey {version}: {items} sign/{sign_of(items)}"


def test_no_two_names_of_the_key_are_alike_in_a_reply() -> None:
    assert len({letters(name) for name in CHARACTERS}) == len(CHARACTERS)
    for character in CHARACTERS.values():
        assert len({letters(state) for state in character.states}) == len(character.states)


def test_all_states_of_any_question_can_come_back() -> None:
    for character in CHARACTERS.values():
        states = tuple(character.states)
        told = "+".join(state.replace("_", "-") for state in states)
        text = f"swardkey 1: {character.id}/{told}, sign/{sign_of(f'{letters(character.id)}/{told},'.replace('-', ''))}"
        if states:
            assert read_reply(text, CHARACTERS).answers == {character.id: states}, "25 of seeds are 297 letters"


@pytest.mark.parametrize(
    "sent",
    [
        TEXT,
        TEXT.upper(),
        f"Hi Jo,\nhere it is: “{TEXT}”.\nCheers, Sam\n+61 400 000 000",
        "> " + TEXT.replace(", ", ",\n> "),
        ">> " + "\n>> ".join(TEXT[i : i + 7] for i in range(0, len(TEXT), 7)),
        TEXT.replace("-", "\u2011").replace(" ", "\u00a0"),
        TEXT.replace("-", " \u2013 ").replace("leaf", "Leaf\u00ad").replace("sign", "Sign"),
        TEXT.replace(", ", ",=\r\n"),
        f"*{TEXT}*\n\nOn Monday I wrote:\n> {TEXT}",
        "".join(chr(ord(c) + 0xFEE0) if c in "+/," else c for c in TEXT),
    ],
)
def test_what_mail_and_messengers_do_to_it_does_no_harm(sent: str) -> None:
    reply = read_reply(sent, CHARACTERS)
    assert reply.answers == {"leaf_edge": ("toothed",), "plant_height": 12.5, "milky_sap": ()}
    assert list(reply.answers) == ["leaf_edge", "plant_height", "milky_sap"]
    assert reply.visible == ("leaves", "flowers")


@pytest.mark.parametrize("place", range(len(TEXT) - 4))
def test_any_letter_that_is_lost_or_changed_is_noticed(place: int) -> None:
    whole = read_reply(TEXT, CHARACTERS)
    for other in ("", "q"):
        broken = TEXT[:place] + other + TEXT[place + 1 :]
        try:
            assert read_reply(broken, CHARACTERS) == whole, broken
        except AnswerError as error:
            assert "again" in str(error)


@pytest.mark.parametrize(
    ("sent", "says"),
    {
        "": "does not hold a reply",
        "it is a daisy, mate": "does not hold a reply",
        TEXT[:-9]: "cut off",
        TEXT.replace("toothed", "lobed"): "altered on its way",
        TEXT.replace("key 1", "key 2"): "another version",
        TEXT + text_of("leafedge/smooth,"): "two different replies",
        "x" * (LONGEST + 1): f"over {LONGEST} characters",
        text_of("leafedge/toothy,"): "did you mean toothed",
        text_of("soliva/sessilis,"): "'soliva', which is not asked here",
        text_of("leafedge/toothed,leafedge/smooth,"): "there twice",
        text_of("plantheight/nan,"): "is not a number",
        text_of("plantheight/1e999,"): "is outside",
        text_of("plantheight/" + "9" * 99 + ","): "is outside",
        text_of("leafedge/" + "a" * 400 + ","): "cut off, or was altered",
        text_of("leafedge/toothed," * 13): "cut off, or was altered",
        "swardkey1" * 2000: "cut off, or was altered",
        "\ufdfa" * LONGEST: "does not hold a reply",
    }.items(),
)  # fmt: skip
def test_what_is_wrong_is_said_in_one_sentence(sent: str, says: str) -> None:
    with pytest.raises(AnswerError) as refused:
        read_reply(sent, CHARACTERS)
    told = str(refused.value)
    assert says in told and "\n" not in told and len(told) < 250


def test_it_replaces_other_answers_and_unsure_replaces_none(key: Key) -> None:
    mine = Interview(key).answer("leaf_edge", "smooth").answer("milky_sap", "present")
    after = with_reply(mine, read_reply(TEXT, CHARACTERS))
    assert after.answers == {"leaf_edge": ("toothed",), "milky_sap": ("present",), "plant_height": 12.5}
    assert after.visible == ("leaves", "flowers")


def test_what_was_answered_about_can_be_seen(key: Key) -> None:
    roots = read_reply(text_of("underground/bulb,flowercolour/unsure,"), CHARACTERS)
    assert with_reply(Interview(key, visible=("leaves",)), roots).visible == ("leaves", "roots")
    assert with_reply(Interview(key), roots).visible is None
    ticked = read_reply(text_of("see/leaves,leafedge/smooth,"), CHARACTERS)
    assert with_reply(Interview(key).answer("flower_colour", "white"), ticked).visible == ("leaves", "flowers")


def test_it_is_read_from_the_text_a_file_or_standard_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "mail.txt"
    file.write_bytes(b"\xef\xbb\xbf\xff " + TEXT.encode())
    assert reply_text(TEXT) == TEXT and TEXT in reply_text(str(file))
    for given in (str(tmp_path / "missing.txt"), "x" * 5000, "a\0b", str(tmp_path)):
        with pytest.raises(AnswerError, match=r"no reply|cannot be read"):
            reply_text(given)


def test_the_terminal_says_what_a_reply_changed_and_goes_on(run: Run) -> None:
    said = run("ask", "--month", "10", "--visible", "leaves", "--reply", TEXT, stdin="q\n").out
    flat = " ".join(said.split())
    assert flat.index("The reply is in: 3 answers.") < flat.index("Before: undecided.") < flat.index("Now: ")
    assert "3 answered" in flat
    piped = run("ask", "--month", "10", "--visible", "leaves", "--reply", "-", "--json", stdin=f"> {TEXT}\n")
    assert set(piped.json["reply"]) == {"before", "after"}
    assert [one["character"] for one in piped.json["answers"]] == ["leaf_edge", "plant_height", "milky_sap"]
    assert piped.json["reply"]["after"]["status"] == piped.json["status"]
    assert "cut off" in run("ask", "--reply", TEXT[:-9]).refusal
