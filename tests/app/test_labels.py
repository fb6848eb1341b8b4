"""A label that the user has read: it unlocks what we do not know of a lawn grass, says so, and is taken back."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml
from pypdf import PdfReader

from app.command_line import main
from app.records import back_up, open_records, plan_restore, restore
from app.services.home import home, labels_file
from app.services.labels import labels_read
from model.control import Case, Control, JudgedOption, Use, judge_use, plan, suited_of

BY = ("--number", "54321", "--by", "Kim Grower", "--on", "2026-06-09")
MARK = "by the label, read by Kim Grower on 9 June 2026, product 54321"
FINE = ("--temperature", "22", "--humidity", "60", "--wind", "8", "--hour", "10", "--rain-in", "24", "--state", "NSW")


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    status, out, err = run(capsys, *arguments, "--json")
    assert status == 0, err
    return dict(json.loads(out))


@dataclass(frozen=True)
class Locked:
    """A case, and an option of its plan that waits for nothing but what the lawn bears."""

    case: Case
    option: JudgedOption

    @property
    def mix(self) -> str:
        return self.option.mix

    @property
    def lawn(self) -> str:
        return self.case.lawn

    @property
    def words(self) -> tuple[str, ...]:
        """The case for the commands `advise` and `print advice`."""
        return (self.case.species[0], "--month", str(self.case.month), "--lawn", self.lawn, "--state", "NSW")

    def among(self, plan_told: dict[str, Any]) -> dict[str, Any]:
        """The option in what `advise` gave."""
        names = [active.name for active in self.option.actives]
        (found,) = [
            o for o in plan_told["options"]
            if [a["name"] for a in o["actives"]] == names and o["method"] == self.option.method
        ]  # fmt: skip
        return dict(found)

    def window(self) -> tuple[str, ...]:
        """The case for the command `window`."""
        weed, month = self.case.species[0], str(self.case.month)
        return ("window", *FINE, "--weed", weed, "--month", month, "--lawn", self.lawn, "--active", self.mix)


def locked_in(control: Control, lawn: str) -> Locked:
    """The first case on a lawn in which an option waits only as nothing is known of how the lawn bears its actives."""
    for species in control.flora.ids:
        for month in (4, 6, 9, 12):
            case = Case((species,), month, lawn, state="NSW")
            for option in plan(control, case).by("wait"):
                lacking = {reason.factor for reason in option.against} == {"lawn"}
                if lacking and option.method == "selective" and all(a.lawn_rating == "unknown" for a in option.actives):
                    return Locked(case, option)
    raise AssertionError(f"nothing is unknown of {lawn}, so there is nothing to unlock")


@pytest.fixture(scope="module")
def locked(control: Control) -> Locked:
    return locked_in(control, "kikuyu")


def test_a_label_is_kept_listed_and_taken_back(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "label", "list")[1] == "No label is recorded yet.\n"
    assert not labels_file().exists(), "reading never writes"
    status, out, _ = run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    line = f"{locked.mix} on {locked.lawn}: {MARK}"
    assert (status, out) == (0, f"Kept: {line}.\n")
    assert run(capsys, "label", "list")[1] == f"{line}\n"
    assert told(capsys, "label", "list") == {
        "labels": [
            {
                "actives": locked.mix.split(" + "), "lawn": locked.lawn, "number": "54321", "by": "Kim Grower",
                "on": "2026-06-09",
            }
        ]
    }  # fmt: skip
    assert run(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn)[1] == "Taken back.\n"
    assert told(capsys, "label", "list") == {"labels": []}
    status, out, err = run(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn)
    assert (status, out) == (2, "") and "swardkey label list" in err


def test_the_json_of_reading_and_revoking(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    kept = told(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)["label"]
    assert kept["number"] == "54321" and kept["on"] == "2026-06-09"
    assert told(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn) == {"revoked": 1}


def test_without_a_day_it_was_read_today(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    kept = told(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, "--number", "1", "--by", "Kim")["label"]
    assert kept["on"] == date.today().isoformat()


def test_a_second_reading_takes_the_place_of_the_first(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, "--number", "1", "--by", "Lee")
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn.upper(), *BY)
    assert [(one.number, one.by) for one in labels_read()] == [("54321", "Kim Grower")]


def test_it_unlocks_the_plan_until_it_is_taken_back(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    before = locked.among(told(capsys, "advise", *locked.words))
    assert before["suited"] == "wait" and all(active["label"] is None for active in before["actives"])
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    after = locked.among(told(capsys, "advise", *locked.words))
    assert after["suited"] == "yes"
    for active in after["actives"]:
        assert active["label"]["by"] == "Kim Grower"
        assert active["lawn_rating"] == "unknown", "what we know is not changed by it"
        named = [line for line in after["why"] if active["name"].casefold() in line.casefold() and MARK in line]
        assert named and all(line.endswith("[by the label]") for line in named)
    printed = " ".join(run(capsys, "advise", *locked.words)[1].split())
    assert MARK in printed
    run(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn)
    assert locked.among(told(capsys, "advise", *locked.words)) == before


def test_it_unlocks_the_window_until_it_is_taken_back(locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    def about_the_lawn() -> list[str]:
        return [line for line in told(capsys, *locked.window())["reasons"] if line.startswith("lawn: ")]

    assert all(line.startswith("lawn: caution: ") for line in about_the_lawn())
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    read = about_the_lawn()
    assert read and all(MARK in line and line.endswith("[the label, as it was noted]") for line in read)
    assert not any("stop" in line.split(": ")[1] for line in read)
    run(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn)
    assert not any(MARK in line for line in about_the_lawn())


def test_it_stands_on_the_advice_sheet(locked: Locked, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    def sheet(name: str) -> str:
        assert run(capsys, "print", "advice", *locked.words, "--out", tmp_path / name)[0] == 0
        return " ".join(" ".join(p.extract_text() for p in PdfReader(tmp_path / name).pages).split())

    assert "by the label" not in sheet("before.pdf").casefold()
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    assert MARK in sheet("after.pdf")


def test_it_says_nothing_of_another_lawn_or_another_active(locked: Locked, control: Control) -> None:
    from model.control import LabelRead

    names = tuple(active.name for active in locked.option.actives)
    read = LabelRead(names, locked.lawn, "54321", "Kim", date(2026, 6, 9))

    def suited(*actives: str, lawn: str = locked.lawn) -> str:
        use = Use(actives, lawn=lawn, state="NSW", month=6, labels=(read,))
        return suited_of([reason for reason in judge_use(control, use) if reason.factor == "lawn"])

    assert suited(*names) == "yes"
    assert suited(*names, lawn="unknown") == "wait"
    others = [
        name for name, active in control.actives.items()
        if name not in names and active.use != "non_selective" and control.rating(name, locked.lawn) is None
    ]  # fmt: skip
    assert others and all(suited(*names, other) == "wait" for other in others)


def test_it_lifts_no_other_ban(control: Control) -> None:
    """NRE Tasmania bans 2,4-D; chlorthal-dimethyl is cancelled: no label read changes either."""
    from model.control import LabelRead

    for lawn in control.lawns:
        for name in ("2,4-D", "chlorthal-dimethyl"):
            read = LabelRead((name,), lawn, "1", "Kim", date(2026, 6, 9))
            use = Use((name,), lawn=lawn, state="TAS", month=12, labels=(read,))
            assert suited_of(judge_use(control, use)) == "no", (name, lawn)
        injuring = [a for a in control.actives if (r := control.rating(a, lawn)) and r.rating == "injures"]
        for name in injuring:
            read = LabelRead((name,), lawn, "1", "Kim", date(2026, 6, 9))
            use = Use((name,), lawn=lawn, state="NSW", month=6, labels=(read,))
            assert suited_of(judge_use(control, use)) == "no", (name, lawn)


def test_what_is_told_from_memory_only_waits_for_the_label_too(control: Control) -> None:
    """An active is never "yes" on a lawn from our memory alone."""
    from model.control import LabelRead

    recalled = [
        (name, lawn)
        for name, lawns in control.tolerance.items()
        for lawn, known in lawns.items()
        if known.standing == "from memory" and known.rating != "injures"
        and control.actives[name].use != "non_selective"
    ]  # fmt: skip
    for name, lawn in recalled:
        use = Use((name,), lawn=lawn, state="NSW", month=6)
        lawn_alone = [r for r in judge_use(control, use) if r.factor == "lawn"]
        assert suited_of(lawn_alone) == "wait", (name, lawn)
        read = LabelRead((name,), lawn, "1", "Kim", date(2026, 6, 9))
        lawn_read = [r for r in judge_use(control, replace(use, labels=(read,))) if r.factor == "lawn"]
        assert suited_of(lawn_read) == "yes" and all(r.standing == "by the label" for r in lawn_read)


def injured(control: Control) -> tuple[str, str]:
    return next(
        (name, lawn)
        for name, lawns in control.tolerance.items()
        for lawn, known in lawns.items()
        if known.rating == "injures" and control.actives[name].use != "non_selective"
    )


def test_a_grass_that_is_known_to_be_injured_is_not_unlocked(
    control: Control, capsys: pytest.CaptureFixture[str]
) -> None:
    name, lawn = injured(control)
    status, out, err = run(capsys, "label", "read", name, "--lawn", lawn, *BY)
    assert (status, out) == (2, "") and f"{name} is known to injure" in err and err.count("\n") == 1
    assert not labels_file().exists()


def test_a_mix_is_not_unlocked_where_a_part_of_it_injures(
    locked: Locked, control: Control, capsys: pytest.CaptureFixture[str]
) -> None:
    hurts = next(n for n, lawns in control.tolerance.items() if (k := lawns.get("kikuyu")) and k.rating == "injures")
    status, _, err = run(capsys, "label", "read", f"{locked.mix} + {hurts}", "--lawn", "kikuyu", *BY)
    assert status == 2 and not labels_file().exists() and "a label read does not change that" in err


@pytest.mark.parametrize(
    ("actives", "lawn", "more", "said"),
    [
        ("glyphosate", "kikuyu", BY, "a label read does not change that"),
        ("glyphosate", "zoysia", BY, "a label read does not change that"),
        ("dicambo", "kikuyu", BY, "did you mean dicamba"),
        ("{mix} + dicambo", "kikuyu", BY, "did you mean dicamba"),
        ("{mix}", "kikuyo", BY, "did you mean kikuyu"),
        ("{mix}", "unknown", BY, "no such lawn grass"),
        ("{mix}", "kikuyu", ("--number", " ", "--by", "Kim"), "registration number"),
        ("{mix}", "kikuyu", ("--number", "54321", "--by", " "), "who read it"),
        ("{mix}", "kikuyu", ("--number", "54321", "--by", "Kim", "--on", "9 June"), "not a day"),
        ("{mix}", "kikuyu", ("--number", "54321", "--by", "Kim", "--on", "{tomorrow}"), "is in the future"),
        ("{known}", "{known_lawn}", BY, "known already"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    actives: str, lawn: str, more: tuple[str, ...], said: str, locked: Locked, control: Control,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    known, known_lawn = next(
        (name, lawn)
        for name, lawns in control.tolerance.items()
        for lawn, bearing in lawns.items()
        if bearing.rating == "safe" and bearing.standing == "published"
    )
    words = {
        "mix": locked.mix, "known": known, "known_lawn": known_lawn,
        "tomorrow": (date.today() + timedelta(days=1)).isoformat(),
    }  # fmt: skip
    arguments = [text.format(**words) for text in (actives, "--lawn", lawn, *more)]
    status, out, err = run(capsys, "label", "read", *arguments)
    assert (status, out) == (2, "") and said in err and err.count("\n") == 1
    assert not labels_file().exists()


@pytest.mark.parametrize("lacking", ["--number", "--by"])
def test_without_number_or_name_nothing_is_kept(
    lacking: str, locked: Locked, capsys: pytest.CaptureFixture[str]
) -> None:
    given = [word for pair in zip(BY[::2], BY[1::2], strict=True) if pair[0] != lacking for word in pair]
    status, out, err = run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *given)
    assert (status, out) == (2, "") and lacking in err and not labels_file().exists()


def test_it_lies_in_the_users_folder_and_never_beside_the_tool(
    locked: Locked, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    assert labels_file() == home() / "labels" / "labels.yaml"
    (kept,) = yaml.safe_load(labels_file().read_text(encoding="utf-8"))["labels"]
    assert kept["by"] == "Kim Grower" and str(kept["on"]) == "2026-06-09"
    assert not list(labels_file().parent.glob(".*")), "nothing is left unfinished"


def test_it_is_in_a_backup_and_there_after_a_restore(
    locked: Locked, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    with open_records():
        pass
    run(capsys, "label", "read", locked.mix, "--lawn", locked.lawn, *BY)
    kept = labels_read()
    back_up(home(), tmp_path / "b.zip")
    run(capsys, "label", "revoke", locked.mix, "--lawn", locked.lawn)
    assert labels_read() == ()
    restore(plan_restore(tmp_path / "b.zip", home()))
    assert labels_read() == kept != ()
    fresh = tmp_path / "fresh"
    restore(plan_restore(tmp_path / "b.zip", fresh))
    assert labels_read(fresh / "labels" / "labels.yaml") == kept


@pytest.mark.parametrize(
    "text",
    [
        "labels: [",
        "labels: 3\n",
        "labels:\n- {actives: [MCPA], lawn: kikuyu, number: '1', by: Kim}\n",
        "labels:\n- {actives: [MCPA], lawn: kikuyu, number: '1', by: Kim, on: 9 June}\n",
        "others: []\n",
        "\x00",
    ],
)
def test_a_broken_file_gives_one_sentence(text: str, locked: Locked, capsys: pytest.CaptureFixture[str]) -> None:
    labels_file().parent.mkdir(parents=True)
    labels_file().write_text(text, encoding="utf-8")
    for command in (
        ("label", "list"),
        ("advise", *locked.words),
        locked.window(),
        ("label", "read", locked.mix, "--lawn", locked.lawn, *BY),
    ):
        status, out, err = run(capsys, *command)
        assert (status, out) == (2, ""), command
        assert err.count("\n") == 1 and "labels.yaml" in err and "Traceback" not in err, command
    assert labels_file().read_text(encoding="utf-8") == text, "what is broken is not written over"


def test_a_file_of_bytes_gives_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    labels_file().parent.mkdir(parents=True)
    labels_file().write_bytes(b"\xff\xfe\x00")
    status, out, err = run(capsys, "label", "list")
    assert (status, out) == (2, "") and err.count("\n") == 1 and "labels.yaml" in err


def test_an_empty_file_holds_no_labels(capsys: pytest.CaptureFixture[str]) -> None:
    labels_file().parent.mkdir(parents=True)
    labels_file().write_text("labels: []\n", encoding="utf-8")
    assert told(capsys, "label", "list") == {"labels": []}
