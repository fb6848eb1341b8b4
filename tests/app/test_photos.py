"""Naming a plant from a photo needs none of what only training needs, installed or not."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"
FOR_TRAINING = ("torch", "torchvision", "sklearn", "scipy", "matplotlib", "cleanlab", "cv2")
FOR_PAGES = ("gradio", "pandas", "starlette", "jinja2")
WITHOUT = """
import sys


class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in hidden:
            raise ModuleNotFoundError(f"{name} is hidden", name=name)


hidden = set(sys.argv.pop(1).split(","))
sys.meta_path.insert(0, Hidden())
"""
IDENTIFY = """
from pathlib import Path

from app.command_line import main
from app.services.batch import Worker

try:
    main(["identify", sys.argv[1], "--json"])
except SystemExit as end:
    assert not end.code, end.code
photo = Path(sys.argv[1])
print(Worker(photo.parent, "starter", None, None).name(photo.name).photo[0][0], sorted(hidden & set(sys.modules)))
"""
ANSWER_PAGES = """
from pathlib import Path

import app.web.page
from app.services.photo_model import evidence_of

print(len(evidence_of([Path(sys.argv[1])]).photos), sorted(hidden & set(sys.modules)))
"""
WAYS = {
    "identify, and a worker on a folder": (IDENTIFY, FOR_TRAINING + FOR_PAGES, "taraxacum_officinale []"),
    "serve": (ANSWER_PAGES, FOR_TRAINING, "1 []"),
}


@pytest.mark.parametrize("way", WAYS)
def test_a_photo_is_looked_at_with_all_of_training_hidden(way: str) -> None:
    code, hidden, said = WAYS[way]
    command = [sys.executable, "-c", WITHOUT + code, ",".join(hidden), str(SAMPLE)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == said
