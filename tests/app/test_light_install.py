"""A plain install has no torch: all but the full recipe works, and that says which command adds it."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import sys
import time
import tomllib
import urllib.request
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.app.test_photos import ROOT, SAMPLE, WITHOUT

FULL = "torch,torchvision,onnx"
MAIN = """
from app.command_line import main

main(sys.argv[1:])
"""
# Several commands in one process, so that the libraries are loaded once. Of the values that the quick recipe tries in
# folds one is enough here: which is best is for the tests of training to say.
SEVERAL = """
import json

import training.recipes.recipe
from app.command_line import main

whole = training.recipes.recipe.load_recipe
short = {"shrinkage": 0.1, "base_photos": 1000, "folds": 2, "null_draws": 20}
training.recipes.recipe.load_recipe = lambda name: whole(name).model_copy(update=short)
for command in json.loads(sys.argv[1]):
    try:
        main(command)
    except SystemExit as end:
        assert not end.code, (command, end.code)
    print("DONE", command[0], sorted(hidden & set(sys.modules)))
"""
MAKE = """
import runpy

module, sys.argv = sys.argv[1], [sys.argv[1], "photos", "out"]
runpy.run_module(module, run_name="__main__", alter_sys=True)
"""


def without_torch(code: str, *arguments: object, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run code in a process in which torch and what comes with it are not to be found."""
    command = [sys.executable, "-c", WITHOUT + code, FULL, *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, input=typed, capture_output=True, text=True, check=False)


def test_torch_is_of_the_full_install_alone_and_contributors_have_it() -> None:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = told["optional-dependencies"]
    assert {Requirement(text).name for text in extras["full"]} == {"torch", "torchvision", "onnx"}
    assert not {"torch", "torchvision", "onnx", "timm"} & {Requirement(text).name for text in told["dependencies"]}
    assert [r.extras for text in extras["dev"] if (r := Requirement(text)).name == "swardkey"] == [{"full"}]


def test_all_but_the_full_recipe_works_without_torch(tmp_path: Path) -> None:
    mine = tmp_path / "mine" / "poa_annua"
    mine.mkdir(parents=True)
    for source in sorted(SAMPLE.parent.glob("*_flowering_*.jpg")):  # no two alike
        shutil.copy(source, mine)
    commands = [
        ["identify", SAMPLE, "--json"],
        ["ask", SAMPLE],
        ["advise", "dandelion", "--month", "5", "--lawn", "couch"],
        ["year", "dandelion", "--figure", tmp_path / "year.png"],
        ["records", "clients", "--add", "A. Wattle"],
        ["records", "check"],
        ["print", "advice", "dandelion", "--month", "5", "--out", tmp_path / "advice.pdf"],
        ["draw", "bellis_perennis", "--out", tmp_path / "drawn.jpg"],
        ["collect", "add", tmp_path / "mine"],
        ["train", "--recipe", "quick", "--json"],
        ["models", "list"],
    ]
    done = without_torch(SEVERAL, json.dumps(commands, default=str), typed="1,2\nq\n")
    assert done.returncode == 0, done.stderr
    ends = [line for line in done.stdout.splitlines() if line.startswith("DONE ")]
    assert ends == [f"DONE {command[0]} []" for command in commands]
    assert "What can you see or reach?" in done.stdout
    trained = next(line for line in done.stdout.splitlines() if line.startswith('{"photos"'))
    assert json.loads(trained)["photos"] == len(list(mine.iterdir()))


def test_the_first_page_is_there_without_torch() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", WITHOUT + MAIN, FULL, "serve", "--port", str(port)]
    server = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        page, until = "", time.monotonic() + 120  # a time only to give up at
        while not page and server.poll() is None and time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}", timeout=10) as answer:
                    page = answer.read().decode("utf-8")
            except OSError:
                time.sleep(0.2)
        assert "swardkey" in page.lower()
    finally:
        server.terminate()
        server.wait(20)


@pytest.mark.parametrize("command", ["train --recipe full", "training.finetune.imagenet"])
def test_what_needs_torch_says_which_command_adds_it(command: str) -> None:
    train = command.startswith("train ")
    done = without_torch(MAIN if train else MAKE, *(command.split() if train else [command]))
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert done.stderr.count("\n") == 1 and command in done.stderr and "Traceback" not in done.stderr
    assert "needs torch" in done.stderr and "pip install 'swardkey[full]'" in done.stderr
