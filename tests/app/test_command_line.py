"""The command line: one JSON object, one sentence for bad input, and no tracebacks."""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer

from app import command_line
from app.command_line import COMMANDS, command_named, main
from app.services.home import home, slips_file
from tests.app.conftest import Run

ROOT = Path(__file__).resolve().parents[2]
BINDII = """\
leaf_build: finely_cut
flower_build: button
flower_stalk: none
seed_structure: winged_spine_seed
spines: on_fruit
seed_wings: broad
leaf_hairs: soft
"""


@pytest.fixture
def answers(tmp_path: Path) -> Path:
    path = tmp_path / "bindii.yaml"
    path.write_text(BINDII)
    return path


def test_every_command_is_there_under_its_name_with_its_summary(run: Run) -> None:
    listed = " ".join(run("--help").out.split())
    for name in COMMANDS:
        command = command_named(name)
        assert isinstance(command, typer.Typer) or command.__doc__, name
        assert f" {name} " in listed
        assert "Usage" in run(name, "--help").out
    assert "Did you mean 'advise'" in run("advize").refusal


def test_identify_from_answers_gives_one_json_object_with_the_documented_keys(run: Run, answers: Path) -> None:
    found = run("identify", "--answers", answers, "--json").json
    assert set(found) == {
        "status", "species", "probability", "unlisted_probability", "relative_probability", "candidates",
        "species_count", "override", "next_question", "stop", "would_decide", "outside_to_exclude", "still_to_exclude",
        "hangs_on", "visible", "set_aside", "photos", "answers", "known", "message",
    }  # fmt: skip
    assert found["species"] == "soliva_sessilis" and found["status"] in ("confirmed", "likely")
    first = found["candidates"][0]
    assert set(first) == {
        "species", "scientific_name", "common_name", "probability", "photo_probability", "agrees", "disagrees",
        "evidence",
    }  # fmt: skip
    assert first["photo_probability"] is None and "seed_structure" in first["agrees"]
    assert found["override"] is None and found["photos"] == []
    assert found["visible"] == ["leaves", "flowers", "seeds", "roots"] and found["set_aside"] == []
    assert [one["character"] for one in found["answers"]] == [line.split(":")[0] for line in BINDII.splitlines()]
    assert found["answers"][0] == {"character": "leaf_build", "answer": ["finely_cut"]}
    assert (found["stop"] is None) == (found["next_question"] is not None)


def test_what_can_be_seen_is_given_on_the_command_line_or_in_the_answer_file(
    run: Run, answers: Path, tmp_path: Path
) -> None:
    def found(file: Path, *options: str) -> dict[str, Any]:
        return run("identify", "--answers", file, "--json", *options).json

    in_file = tmp_path / "visible.yaml"
    in_file.write_text("visible: [roots, leaves]\n" + BINDII)
    leaves = found(answers, "--visible", "roots,leaves")
    assert leaves == found(in_file)
    assert leaves["visible"] == ["leaves", "roots"]
    gone = ["flower_build", "flower_stalk", "seed_structure", "seed_wings"]
    assert [c for c in leaves["set_aside"] if c in gone] == gone, "in the order in which they were answered"
    assert "leaf_build" not in leaves["set_aside"]
    assert not {*gone} & {c for one in leaves["candidates"] for c in (*one["agrees"], *one["disagrees"])}
    # What is typed comes before what the file says.
    assert found(in_file, "--visible", "leaves,flowers,seeds,roots")["set_aside"] == []


@pytest.mark.parametrize("command", ["identify", "ask"])
@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        ("--visible", "leafs", "did you mean leaves?"),
        ("--visible", "", "visible: "),
        ("--visible", "leaves,3", "choose from: leaves, flowers, seeds, roots"),
        ("--region", "southern_australis", "did you mean southern_australia?"),
        ("--month", "14", "'14' is not a month; give 1 to 12, or a name such as May"),
    ],
)
def test_a_wrong_option_is_one_sentence(
    run: Run, answers: Path, command: str, option: str, value: str, says: str
) -> None:
    assert says in run(command, "--answers", answers, option, value).refusal


def test_the_region_is_on_unless_it_is_turned_off(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("leaf_build: simple\n")
    first, named, off = (
        run("identify", "--answers", path, "--json", *options).json
        for options in ([], ["--region", "southern_australia"], ["--region", "none"])
    )
    assert first == named != off


def test_where_no_more_is_asked_it_is_said_why_and_what_would_settle_it(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    unsure = ("growth_habit", "leaf_hairs", "milky_sap", "crushed_smell")
    path.write_text("visible: [leaves]\nleaf_build: simple\n" + "".join(f"{c}: unsure\n" for c in unsure))
    found = run("identify", "--answers", path, "--json", "--month", "7").json
    assert found["stop"] == "too often unsure" and found["next_question"] is None
    assert found["would_decide"] and len(found["would_decide"]) <= 3
    for one in found["would_decide"]:
        assert set(one) == {"character", "part", "how", "months", "text", "look"}
        assert one["how"] in ("photo", "look", "dig", "wait") and set(one["months"]) <= set(range(1, 13))
        assert f"{one['text']} {one['look']}" in found["message"]
    assert found["known"] == "a broad-leaved plant"
    printed = " ".join(run("identify", "--answers", path, "--month", "7").out.split())
    assert "it is a broad-leaved plant." in printed and "Several answers were unsure" in printed
    assert found["message"].split("\n")[0] in printed


@pytest.mark.parametrize("kind", ["missing", "text", "truncated"])
def test_a_bad_photo_is_one_sentence(run: Run, tmp_path: Path, kind: str) -> None:
    path = tmp_path / "weed.jpg"
    if kind == "text":
        path.write_text("words")
    elif kind == "truncated":
        path.write_bytes((ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg").read_bytes()[:3000])
    says = {"missing": "no such file", "text": "is not a photo that can be read", "truncated": "is damaged"}
    for options in ([], ["--json"]):
        refusal = run("identify", path, *options).refusal
        assert says[kind] in refusal and str(path) in refusal


@pytest.mark.parametrize(
    ("text", "says"),
    {
        "leaf_hair: soft": "did you mean leaf_hairs?",
        "leaf_hairs: wooly": "did you mean woolly?",
        "leaf_hairs: 3": "choose from: none, soft, bristly, woolly, sticky, unsure",
        "plant_height: tall": "'tall' is not a number; give one from 1 to 250 cm, or unsure",
        "plant_height: 9000": "9000 cm is outside 1 to 250 cm; check the unit",
        "flowering_month: 13": "13 is outside 1 to 12; check the unit",
        "milky_sap: yes": "choose from: present, absent, unsure",
        "milky_sap: true": "choose from: present, absent, unsure",
        "- leaf_hairs\n- soft": "holds a list; write one `character: state` on each line",
        "only words": "holds plain text; write one `character: state` on each line",
        "a: [": "not valid YAML",
        "": "",
    }.items(),
)
def test_a_bad_answer_file_is_one_sentence_that_names_the_nearest(
    run: Run, tmp_path: Path, text: str, says: str
) -> None:
    path = tmp_path / "answers.yaml"
    if text:
        path.write_text(text)
    refusal = run("identify", "--answers", path).refusal
    assert str(path) in refusal and (says or "no such file") in refusal


def test_nothing_to_go_by_is_a_sentence(run: Run) -> None:
    assert run("identify").refusal.startswith("swardkey: nothing to go by")


def test_ask_asks_goes_back_changes_saves_and_stops(run: Run, tmp_path: Path) -> None:
    saved = tmp_path / "answers.yaml"
    typed = ["1", "u", "u", "b", "u", "c", "1", "u", "nonsense", "s", tmp_path / "none" / "a.yaml", "s", saved, "q"]
    done = run("ask", stdin="".join(f"{line}\n" for line in typed))
    assert done.status == 0 and "saved to" in done.out and "cannot be written" in done.out
    assert "did you mean" in done.out or "choose from" in done.out or "is not a number" in done.out
    seen, *lines = saved.read_text().splitlines()
    assert seen == "visible: [leaves]"
    assert len(lines) == 2 and all(line.endswith(": unsure") for line in lines)
    assert run("identify", "--answers", saved, "--json").json["visible"] == ["leaves"]


def test_ask_with_json_prints_one_object_and_talks_on_standard_error(run: Run) -> None:
    done = run("ask", "--json", stdin="q\n")
    assert done.json["status"] == "undecided"
    assert "unsure" in done.err and "What can you see or reach?" in done.err


@pytest.mark.parametrize(
    ("fault", "status", "says"),
    [
        (
            OSError(errno.ENOSPC, "No space left on device", "/full/file"),
            2,
            "/full/file: No space left on device; make",
        ),
        (RuntimeError("inside"), 1, "a fault of the program (RuntimeError); please send in "),
        (KeyboardInterrupt(), 130, "stopped"),
    ],
)
def test_a_fault_is_a_sentence(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, fault: BaseException, status: int, says: str
) -> None:
    def fail(wanted: str) -> None:
        raise fault

    monkeypatch.setattr(command_line, "command_line", fail)
    done = run("identify")
    assert done.status == status and done.err.startswith(f"swardkey: {says}") and done.err.count("\n") == 1
    if status == 1:
        assert "inside" in next((tmp_path / "home" / "faults").iterdir()).read_text()
        monkeypatch.setattr(command_line, "fault_file", lambda: tmp_path / "no such folder" / "fault.txt")
        assert run("identify").err.endswith("the details could not be written down\n")


def test_a_photo_far_above_its_chance_is_explained_and_the_next_question_has_its_answers(run: Run) -> None:
    said = " ".join(run("identify", "sample_images/taraxacum_officinale_flowering_3.jpg").out.split())
    assert "compares only the plants that the photo model has learned; the chance is among all" in said
    assert "Next question (seed_structure): " in said and "parachutes: seeds with a tuft of hairs" in said
    assert said.endswith("unsure")
    answered = run("identify", "--answers", "sample_images/dandelion_answers.yaml").out
    assert "compares only" not in answered


def test_the_version_and_short_help_and_the_help_of_the_command_that_was_meant(run: Run) -> None:
    assert re.fullmatch(r"swardkey \d+\.\d+\.\d+\n", run("--version").out)
    assert "Usage: swardkey advise" in run("advise", "-h").out
    assert run("advise", "--mnth", "3").refusal.endswith("(see swardkey advise --help)\n")
    assert run("collect", "relabel").refusal.endswith("see swardkey collect relabel --help\n")


def test_an_error_with_json_is_json_on_standard_error(run: Run) -> None:
    done = run("advise", "tulips", "--json")
    assert (done.status, done.out) == (2, "")
    said = json.loads(done.err)
    assert said["status"] == 2 and said["error"].startswith("'tulips' is not in the flora")


def test_where_the_data_lie_and_what_is_saved_about_the_user(run: Run, tmp_path: Path) -> None:
    assert "Nothing is saved yet" in run("settings").out
    run("settings", "--state", "wa", "--business", "Wattle Lawns", "--licence", "")
    assert run("settings").out == "state: WA\nbusiness: Wattle Lawns\n"
    assert "'QQ' is not one of NSW" in run("settings", "--state", "QQ").refusal
    said = run("where").out
    assert str(tmp_path / "home") in said and "records     clients, sites, visits" in said
    run("records", "clients", "--add", "Ann")
    assert run("records", "sites", "--client", "1", "--add", "1 High St", "--json").json["site"]["state"] == "WA"
    run("records", "visits", "--site", "1", "--add", "Kim")
    (tmp_path / "t.yaml").write_text("notes: x\n")
    treatment = run("records", "treat", "1", tmp_path / "t.yaml", "--json").json["treatment"]
    assert (treatment["business"], treatment["state"], treatment["applicator"]) == ("Wattle Lawns", "WA", "Kim")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes; others of the machine may go unnoticed")
def test_what_is_the_users_is_read_by_nobody_else(run: Run, tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        (home() / "models").mkdir(parents=True)
        assert run("records", "clients").status == 0
        assert run("backup", str(tmp_path / "b.zip")).status == 0
    finally:
        os.umask(before)
    modes = {path: stat.S_IMODE(path.stat().st_mode) for path in (home() / "models", *home().rglob("records*"))}
    modes[tmp_path / "b.zip"] = stat.S_IMODE((tmp_path / "b.zip").stat().st_mode)
    assert len(modes) >= 4 and not {str(path): oct(mode) for path, mode in modes.items() if mode & 0o077}


@pytest.mark.skipif(os.name == "nt", reason="without modes a folder that others may read goes unseen")
@pytest.mark.parametrize(
    ("others", "mode", "kept", "is_said"),
    [
        ((), 0o755, 0o700, False),
        ((".bashrc", "letters.txt"), 0o755, 0o755, True),
        ((".profile",), 0o750, 0o750, True),
        ((), 0o2770, 0o2770, True),
    ],
)
def test_a_folder_that_was_somebodys_before_keeps_its_permissions_and_ours_does_not(
    others: tuple[str, ...], mode: int, kept: int, is_said: bool, run: Run
) -> None:
    home().mkdir(exist_ok=True)
    for name in others:
        (home() / name).touch()
    home().chmod(mode)
    slips_file().parent.mkdir()
    slips_file().touch(0o644)
    assert run("records", "clients").status == 0
    assert stat.S_IMODE(home().stat().st_mode) == kept
    assert stat.S_IMODE((home() / "records").stat().st_mode) & 0o077 == 0
    assert stat.S_IMODE(slips_file().stat().st_mode) & 0o077 == 0
    assert ("closed to other users" in run("where").out) == is_said


def test_the_shell_completes_commands_and_options(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("_SWARDKEY_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", "swardkey advise --l")
    monkeypatch.setenv("COMP_CWORD", "2")
    assert run().out.split() == ["--lawn"]
    monkeypatch.setenv("COMP_WORDS", "swardkey de")
    monkeypatch.setenv("COMP_CWORD", "1")
    assert run().out.split() == ["degree-days", "demo"]


def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    command = f"{sys.executable} -c 'from app.command_line import main; main()' records treat --blank NSW | true"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=False)
    assert done.stderr == ""


def test_forty_columns_cut_no_names(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    with pytest.raises(SystemExit):
        main(["identify", "sample_images/taraxacum_officinale_flowering_3.jpg"])
    said = capsys.readouterr().out
    assert "\u2026" not in said and "(Taraxacum" in said and max(map(len, said.splitlines())) <= 41


def test_ctrl_c_while_the_program_is_loaded_is_a_sentence() -> None:
    code = """
import sys
from app.start import main
class Stopped:
    def find_spec(self, name, path, target=None):
        if name == "typer":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stopped())
main()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (130, "swardkey: stopped; nothing was begun yet\n")
