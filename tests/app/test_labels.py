"""A label that the user has read: it unlocks what we do not know of a lawn grass, says so, and is taken back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml
from pypdf import PdfReader

from app.records import back_up, open_records, plan_restore, restore
from app.services.home import home, labels_file
from app.services.labels import labels_read
from model.control import Case, Control, JudgedOption, LabelRead, Use, judge_use, plan, suited_of
from model.control.use import Reason
from tests.app.conftest import Run

BY = ("--number", "54321", "--by", "Kim Grower", "--on", "2026-06-09")
MARK = "by the label, read by Kim Grower on 9 June 2026, product 54321"
FINE = ("--temperature", "22", "--humidity", "60", "--wind", "8", "--hour", "10", "--rain-in", "24", "--state", "NSW")


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

    def among(self, found_plan: dict[str, Any]) -> dict[str, Any]:
        """The option in what `advise` gave."""
        names = [active.name for active in self.option.actives]
        (found,) = [
            o for o in found_plan["options"]
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


@pytest.fixture
def read(locked: Locked) -> tuple[str, ...]:
    """The command that records the label which unlocks the case."""
    return ("label", "read", locked.mix, "--lawn", locked.lawn, *BY)


@pytest.fixture
def revoke(locked: Locked) -> tuple[str, ...]:
    return ("label", "revoke", locked.mix, "--lawn", locked.lawn)


def test_a_label_is_kept_listed_and_revoked(
    run: Run, locked: Locked, read: tuple[str, ...], revoke: tuple[str, ...]
) -> None:
    assert run("label", "list").out == "No label is recorded yet.\n"
    assert not labels_file().exists(), "reading never writes"
    line = f"{locked.mix} on {locked.lawn}: {MARK}"
    assert run(*read).out == f"Saved: {line}.\n"
    assert run("label", "list").out == f"{line}\n"
    entry = {
        "actives": locked.mix.split(" + "), "lawn": locked.lawn, "number": "54321", "by": "Kim Grower",
        "on": "2026-06-09",
    }  # fmt: skip
    assert run("label", "list", "--json").json == {"labels": [entry]}
    assert run(*revoke).out == "Revoked.\n"
    assert run(*read, "--json").json == {"label": entry}
    assert run(*revoke, "--json").json == {"revoked": 1}
    assert run("label", "list", "--json").json == {"labels": []}
    assert "swardkey label list" in run(*revoke).refusal


def test_a_second_reading_replaces_the_first_and_without_a_day_it_was_today(
    run: Run, locked: Locked, read: tuple[str, ...]
) -> None:
    first = run("label", "read", locked.mix, "--lawn", locked.lawn.upper(), "--number", "1", "--by", "Lee", "--json")
    assert first.json["label"]["on"] == date.today().isoformat()
    run(*read)
    assert [(one.number, one.by) for one in labels_read()] == [("54321", "Kim Grower")]


def test_a_label_may_be_read_on_the_day_that_has_begun_in_the_east(
    run: Run, locked: Locked, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = date.today() + timedelta(days=1)
    monkeypatch.setattr("app.records.days.latest_now", lambda: datetime.combine(there, time(8)))
    command = ("label", "read", locked.mix, "--lawn", locked.lawn, *BY[:4], "--on", there)
    assert run(*command, "--json").json["label"]["on"] == there.isoformat()


def test_it_unlocks_plan_window_and_advice_sheet_until_it_is_revoked(
    run: Run, locked: Locked, read: tuple[str, ...], revoke: tuple[str, ...], tmp_path: Path
) -> None:
    def option() -> dict[str, Any]:
        return locked.among(run("advise", *locked.words, "--json").json)

    def about_the_lawn() -> list[str]:
        reasons = run(*locked.window(), "--json").json["reasons"]
        return [line for line in reasons if line.startswith("lawn: ")]

    def sheet() -> str:
        assert run("print", "advice", *locked.words, "--out", tmp_path / "a.pdf").status == 0
        return " ".join(" ".join(p.extract_text() for p in PdfReader(tmp_path / "a.pdf").pages).split())

    before = option()
    assert before["suited"] == "wait" and all(active["label"] is None for active in before["actives"])
    assert all(line.startswith("lawn: caution: ") for line in about_the_lawn())
    assert "by the label" not in sheet().casefold()
    run(*read)
    after = option()
    assert after["suited"] == "yes"
    for active in after["actives"]:
        assert active["label"]["by"] == "Kim Grower"
        assert active["lawn_rating"] == "unknown", "what we know is not changed by it"
        named = [line for line in after["why"] if active["name"].casefold() in line.casefold() and MARK in line]
        assert named and all(line.endswith("[by the label]") for line in named)
    unlocked = about_the_lawn()
    assert unlocked and all(MARK in line and line.endswith("[the label, as it was noted]") for line in unlocked)
    assert not any("stop" in line.split(": ")[1] for line in unlocked)
    assert MARK in " ".join(run("advise", *locked.words).out.split()) and MARK in sheet()
    run(*revoke)
    assert option() == before and not any(MARK in line for line in about_the_lawn())


def reasons(control: Control, actives: tuple[str, ...], lawn: str, read_for: str = "", **more: Any) -> list[Reason]:
    """The reasons for or against some actives on a lawn, with a label read for them on the lawn ``read_for``."""
    labels = (LabelRead(actives, read_for, "1", "Kim", date(2026, 6, 9)),) if read_for else ()
    given = {"state": "NSW", "month": 6, **more}
    return list(judge_use(control, Use(actives, lawn=lawn, labels=labels, **given)))


def of_the_lawn(found: list[Reason]) -> list[Reason]:
    return [reason for reason in found if reason.factor == "lawn"]


def test_it_says_nothing_of_another_lawn_or_another_active(locked: Locked, control: Control) -> None:
    names, lawn = tuple(active.name for active in locked.option.actives), locked.lawn
    read = LabelRead(names, lawn, "1", "Kim", date(2026, 6, 9))

    def suited(*actives: str, lawn: str = lawn) -> str:
        use = Use(actives, lawn=lawn, state="NSW", month=6, labels=(read,))
        return suited_of(of_the_lawn(list(judge_use(control, use))))

    assert suited(*names) == "yes" and suited(*names, lawn="unknown") == "wait"
    others = [
        name for name, active in control.actives.items()
        if name not in names and active.use != "non_selective" and control.rating(name, lawn) is None
    ]  # fmt: skip
    assert others and all(suited(*names, other) == "wait" for other in others)


def test_it_lifts_no_other_ban_and_no_injury(control: Control) -> None:
    """NRE Tasmania bans 2,4-D; chlorthal-dimethyl is cancelled: no label read changes either."""
    for lawn in control.lawns:
        for name in ("2,4-D", "chlorthal-dimethyl"):
            assert suited_of(reasons(control, (name,), lawn, lawn, state="TAS", month=12)) == "no", (name, lawn)
        for name in control.actives:
            if (known := control.rating(name, lawn)) and known.rating == "injures":
                assert suited_of(reasons(control, (name,), lawn, lawn)) == "no", (name, lawn)


def test_what_is_known_from_memory_only_waits_for_the_label_too(control: Control) -> None:
    """An active is never "yes" on a lawn from our memory alone."""
    for name, lawns in control.tolerance.items():
        for lawn, known in lawns.items():
            if known.standing != "from memory" or known.rating == "injures":
                continue
            if control.actives[name].use == "non_selective":
                continue
            assert suited_of(of_the_lawn(reasons(control, (name,), lawn))) == "wait", (name, lawn)
            read = of_the_lawn(reasons(control, (name,), lawn, lawn))
            assert suited_of(read) == "yes" and all(r.standing == "by the label" for r in read)


def injured(control: Control) -> tuple[str, str]:
    return next(
        (name, lawn)
        for name, lawns in control.tolerance.items()
        for lawn, known in lawns.items()
        if known.rating == "injures" and control.actives[name].use != "non_selective"
    )


def test_no_label_unlocks_a_grass_that_is_injured(run: Run, locked: Locked, control: Control) -> None:
    name, lawn = injured(control)
    assert f"{name} is known to injure" in run("label", "read", name, "--lawn", lawn, *BY).refusal
    hurts = next(n for n, lawns in control.tolerance.items() if (k := lawns.get("kikuyu")) and k.rating == "injures")
    mix = f"{locked.mix} + {hurts}"
    assert "a label read does not change that" in run("label", "read", mix, "--lawn", "kikuyu", *BY).refusal
    assert not labels_file().exists()


@pytest.mark.parametrize(
    ("actives", "lawn", "more", "says"),
    [
        ("glyphosate", "kikuyu", BY, "a label read does not change that"),
        ("glyphosate", "zoysia", BY, "a label read does not change that"),
        ("dicambo", "kikuyu", BY, "did you mean dicamba"),
        ("{mix} + dicambo", "kikuyu", BY, "did you mean dicamba"),
        ("{mix}", "kikuyo", BY, "did you mean kikuyu"),
        ("{mix}", "unknown", BY, "no such lawn grass"),
        ("{mix}", "kikuyu", ("--number", " ", "--by", "Kim"), "registration number"),
        ("{mix}", "kikuyu", ("--number", "54321", "--by", " "), "who read it"),
        ("{mix}", "kikuyu", ("--number", "54321"), "--by"),
        ("{mix}", "kikuyu", ("--by", "Kim"), "--number"),
        ("{mix}", "kikuyu", (*BY[:4], "--on", "9 June"), "is not a date"),
        ("{mix}", "kikuyu", (*BY[:4], "--on", "{to_come}"), "is in the future"),
        ("{known}", "{known_lawn}", BY, "known already"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    actives: str, lawn: str, more: tuple[str, ...], says: str, run: Run, locked: Locked, control: Control
) -> None:
    known, known_lawn = next(
        (name, lawn)
        for name, lawns in control.tolerance.items()
        for lawn, tolerance in lawns.items()
        if tolerance.rating == "safe" and tolerance.standing == "published"
    )
    words = {
        "mix": locked.mix, "known": known, "known_lawn": known_lawn,
        "to_come": (date.today() + timedelta(days=2)).isoformat(),  # tomorrow may have begun in the east
    }  # fmt: skip
    arguments = [text.format(**words) for text in (actives, "--lawn", lawn, *more)]
    assert says in run("label", "read", *arguments).refusal
    assert not labels_file().exists()


def test_it_lies_in_the_users_folder_and_in_its_backups(
    run: Run, read: tuple[str, ...], revoke: tuple[str, ...], tmp_path: Path
) -> None:
    with open_records():
        pass
    run(*read)
    assert labels_file() == home() / "labels" / "labels.yaml"
    (entry,) = yaml.safe_load(labels_file().read_text(encoding="utf-8"))["labels"]
    assert entry["by"] == "Kim Grower" and str(entry["on"]) == "2026-06-09"
    assert not list(labels_file().parent.glob(".*")), "nothing is left unfinished"
    kept = labels_read()
    back_up(home(), tmp_path / "b.zip")
    run(*revoke)
    assert labels_read() == ()
    for folder in (home(), tmp_path / "fresh"):
        restore(plan_restore(tmp_path / "b.zip", folder))
        assert labels_read(folder / "labels" / "labels.yaml") == kept != ()


@pytest.mark.parametrize(
    "text",
    [
        b"labels: [",
        b"labels: 3\n",
        b"labels:\n- {actives: [MCPA], lawn: kikuyu, number: '1', by: Kim}\n",
        b"labels:\n- {actives: [MCPA], lawn: kikuyu, number: '1', by: Kim, on: 9 June}\n",
        b"labels:\n- {actives: [MCPA], lawn: kikuyu, number: '1', by: Kim, on: 2026-06-09, rate: 1}\n",
        b"others: []\n",
        b"\x00",
        b"\xff\xfe\x00",
    ],
)
def test_a_broken_file_is_one_sentence_and_is_not_written_over(
    text: bytes, run: Run, locked: Locked, read: tuple[str, ...]
) -> None:
    labels_file().parent.mkdir(parents=True)
    labels_file().write_bytes(text)
    for command in (("label", "list"), ("advise", *locked.words), locked.window(), read):
        assert "labels.yaml" in run(*command).refusal, command
    assert labels_file().read_bytes() == text


def test_an_empty_file_holds_no_labels(run: Run) -> None:
    labels_file().parent.mkdir(parents=True)
    labels_file().write_text("labels: []\n", encoding="utf-8")
    assert run("label", "list", "--json").json == {"labels": []}
