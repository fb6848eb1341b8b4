"""The picture of a page in the README: the plan for a weed in a lawn, as the browser shows it.

python -m tests.browser.picture app/web/plan_page.png
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from app.web.draft import Draft, Drafts, new_id
from app.web.steps import STEPS
from model.flora.character import PARTS
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.security.visitor import served

ANSWERS = {"leaf_build": ("finely_cut",), "leaf_hairs": ("soft",), "seed_wings": ("broad",), "habit": ("rosette",)}
LAWN = {"lawn": "buffalo", "place": "lawn", "month": "7", "state": "NSW"}
WIDTH, HEIGHT = 1280, 900  # px


def main(file: Path) -> None:
    """Take the picture, with few colours to keep it small."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder) / "home") as server,
        sync_playwright() as browsers,
    ):
        os.environ["SWARDKEY_HOME"] = str(server.home)
        draft = Draft(new_id(), "plan", STEPS.index("plan"), month=7, visible=PARTS, answers=ANSWERS, lawn=LAWN)
        Drafts().save(draft)
        page = browsers.chromium.launch(executable_path=CHROMIUM, args=FLAGS).new_page(
            viewport={"width": WIDTH, "height": HEIGHT}
        )
        page.goto(f"http://{server.name}/?plant={draft.id}")
        page.wait_for_selector(".summary, .card, h1[tabindex]")
        page.wait_for_timeout(1500)
        page.screenshot(path=file)
    with Image.open(file) as shot:
        shot.convert("RGB").quantize(64).save(file, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
