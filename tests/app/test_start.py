"""How commands start and end as programs: what each may load, and what happens when nobody reads the output."""

from __future__ import annotations

import sys
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen

import pytest

from app.records import open_records
from tests.app.record_book import keep_some

ROOT = Path(__file__).resolve().parents[2]
ANSWERS = ROOT / "sample_images" / "dandelion_answers.yaml"
MAIN = """
import sys
from app.command_line import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    if end.code:
        raise
sys.stderr.write(" ".join(sorted({name.split(".")[0] for name in sys.modules})))
"""
FOR_LEARNING = {"torch", "torchvision", "sklearn", "scipy", "pandas", "gradio", "starlette"}
FOR_PICTURES = {"PIL", "cv2", "onnxruntime", "matplotlib", "reportlab"}
HEAVY = FOR_LEARNING | FOR_PICTURES | {"numpy"}
LEFT_ALONE = {
    "--help": HEAVY | {"pydantic", "yaml"},
    "where": HEAVY | {"yaml", "rich"},
    "advise bindii --month 7 --lawn buffalo": HEAVY,
    "year bindii": HEAVY,
    "window --temperature 20 --humidity 55 --wind 8 --lawn couch --month 7": HEAVY,
    "settings": HEAVY,
    "records due": HEAVY,
    "models": HEAVY,
    "train --help": FOR_LEARNING | FOR_PICTURES - {"PIL"},
    "collect list": FOR_LEARNING | FOR_PICTURES - {"PIL"},
    f"identify --answers {ANSWERS}": FOR_LEARNING | FOR_PICTURES,
    "print advice --visit 1 --out {folder}/advice.pdf": FOR_LEARNING | {"matplotlib", "onnxruntime"},
}


def run_program(*arguments: str) -> Popen[str]:
    command = [sys.executable, "-c", MAIN, *arguments]
    return Popen(command, cwd=ROOT, stdout=PIPE, stderr=PIPE, stdin=DEVNULL, text=True)


@pytest.mark.parametrize("command", LEFT_ALONE)
def test_a_command_loads_no_library_that_it_does_not_need(command: str, tmp_path: Path) -> None:
    with open_records() as records:
        keep_some(records)
    out, loaded = run_program(*command.format(folder=tmp_path).split()).communicate()
    assert "model" in loaded.split(), loaded
    assert not LEFT_ALONE[command] & set(loaded.split()), out


@pytest.mark.parametrize("command", ["--help", "--version", "where", "year bindii", "advise bindii --json"])
def test_a_command_whose_output_nobody_reads_ends_as_the_pipe_would_end_it(command: str) -> None:
    program = run_program(*command.split())
    assert program.stdout is not None and program.stderr is not None
    program.stdout.close()  # as `| true` does, and `| head` after its lines
    assert (program.stderr.read(), program.wait()) == ("", 141)
    program.stderr.close()
