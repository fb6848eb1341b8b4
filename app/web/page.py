"""The pages in gradio's blocks, and how they are served: on this machine only, with nothing reported to anyone."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

# Before gradio is imported: nothing is reported to anyone.
os.environ.setdefault("GRADIO_ANALYTICS_ENABLED", "False")

import gradio as gr
from PIL import Image

from app.home import home
from app.web import flow, photos, spray
from app.web.draft import ID, Draft, new_id
from app.web.files import routes
from app.web.frame import fault, head, read_fields
from app.web.guard import in_a_sentence, middleware
from app.web.places import QUIET, build_places
from app.web.shed import Shed, open_shed
from app.web.theme import SCRIPT, options
from model.errors import SwardkeyError

PHOTO_TYPES = ["image", ".heic", ".heif", ".jpg", ".jpeg", ".png", ".webp"]
Shown = tuple[Any, ...]
Change = Callable[[Draft], tuple[Draft, list[str]]]


class Pages:
    """The handlers of the path: each reads the plant's draft, changes it, saves it and shows it; none has a state."""

    def __init__(self, shed: Shed) -> None:
        self.shed = shed

    def open(self, address: dict[str, str]) -> Shown:
        """The page of an address: the plant that it names at its step, or a new one."""
        plant, notices = address.get("plant", ""), []
        draft = None
        try:
            draft = self.shed.drafts.read(plant)
            if plant and draft is None:
                notices.append("No plant is kept under this address, so this is a new one.")
            if draft is not None and address.get("step") in flow.MODULES:
                draft = flow.go(self.shed, draft, {}, address["step"])
        except SwardkeyError as error:
            notices.append(fault(str(error)))
        return self._show(draft or Draft(new_id(), month=_this_month()), notices)

    def act(self, plant: str, told: dict[str, Any]) -> Shown:
        """What a button does."""
        fields: Any = told.get("fields", {})
        do, which = str(told.get("do", "")), str(told.get("with", ""))
        return self._change(plant, lambda draft: flow.act(self.shed, draft, do, read_fields(fields), which))

    def add_photos(self, plant: str, files: list[str] | None) -> Shown:
        """More photos."""
        return self._change(plant, lambda draft: photos.add(self.shed, draft, files or []))

    def add_forecast(self, plant: str, file: str | None) -> Shown:
        """A forecast to spray by."""
        return self._change(plant, lambda draft: (spray.take_forecast(self.shed, draft, file or ""), []))

    def _change(self, plant: str, change: Change) -> Shown:
        """Change a draft and keep it; a sentence where that cannot be, and then nothing is lost."""
        if not ID.fullmatch(plant):
            return self._show(Draft(new_id(), month=_this_month()), ["Start with a new plant; this page was too old."])
        with self.shed.drafts.lock(plant):
            draft = Draft(plant, month=_this_month())
            notices: list[str] = []
            with in_a_sentence(notices):
                draft = self.shed.drafts.read(plant) or draft
                draft, notices = self._changed(draft, change)
        return self._show(draft, notices)

    def _changed(self, draft: Draft, change: Change) -> tuple[Draft, list[str]]:
        """The draft after a change, once it is kept."""
        after, told = change(draft)
        # One that became a visit is only looked at.
        if after != draft and not draft.record.get("visit"):
            self.shed.drafts.save(after)
        return after, told

    def _show(self, draft: Draft, notices: list[str]) -> Shown:
        """Id, top, whether photos and forecast may be added, and the rest of the page."""
        try:
            above, below = flow.body(self.shed, draft)
        except SwardkeyError as error:
            notices = [*notices, fault(str(error))]
            above, below = flow.body(self.shed, Draft(draft.id, shots=draft.shots, month=draft.month))
        return (
            draft.id,
            head("/", draft, notices) + above,
            gr.update(visible=draft.step == "photos"),
            gr.update(visible=draft.step == "spray"),
            below,
        )


def _this_month() -> int:
    from datetime import date

    return date.today().month


def build_page(shed: Shed) -> gr.Blocks:
    """All pages as gradio blocks, not yet served."""
    pages = Pages(shed)

    def opened(request: gr.Request) -> Shown:
        return pages.open(dict(request.query_params))

    def acted(plant: str, event: gr.EventData) -> Shown:
        return pages.act(plant, getattr(event, "_data", None) or {})

    with gr.Blocks(title="swardkey", analytics_enabled=False, delete_cache=(3600, 86400)) as blocks:
        plant = gr.State("")
        above = gr.HTML("", js_on_load=SCRIPT, elem_classes="area", apply_default_css=False)
        camera = gr.UploadButton(
            "Take or choose photos",
            file_count="multiple",
            file_types=PHOTO_TYPES,
            variant="primary",
            elem_id="camera",
            elem_classes="upload",
        )
        forecast = gr.UploadButton(
            "Choose a forecast file",
            file_types=[".csv"],
            variant="secondary",
            elem_id="forecast",
            elem_classes="upload",
            visible=False,
        )
        below = gr.HTML("", js_on_load=SCRIPT, elem_classes="area", apply_default_css=False)
        shown = [plant, above, camera, forecast, below]
        blocks.load(opened, None, shown, **QUIET)
        above.act(acted, plant, shown, **QUIET)
        below.act(acted, plant, shown, **QUIET)
        camera.upload(pages.add_photos, [plant, camera], shown, concurrency_limit=2, **QUIET)
        forecast.upload(pages.add_forecast, [plant, forecast], shown, **QUIET)
    build_places(blocks, shed)
    blocks.queue(max_size=64, default_concurrency_limit=8)
    return blocks


def serve_options(shed: Shed) -> dict[str, Any]:
    """How the pages are launched: loopback, nothing shared, nothing reported, no file given away."""
    return {
        "server_name": "127.0.0.1",
        "share": False,
        "max_file_size": "25mb",
        "allowed_paths": [],
        "show_error": False,
        "quiet": True,
        "ssr_mode": False,
        "mcp_server": False,
        "enable_monitoring": False,
        "strict_cors": True,
        "app_kwargs": {"middleware": middleware(), "routes": routes(shed), "docs_url": None, "redoc_url": None},
        **options(),
    }


def warm_up(shed: Shed) -> None:
    """Load what the first photo, plan and sum would else wait for."""
    from app.photos import model_in_charge
    from model.mix.unit import registry
    from model.photo import open_photo
    from training.audit.settings import load_settings

    with contextlib.suppress(SwardkeyError, OSError):  # it is told where it matters, at the photo
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder, ThreadPoolExecutor(2) as two:
            # The first picture costs seconds more than those after it: let it be one of nobody's.
            nothing = Path(folder) / "nothing.png"
            Image.effect_noise((256, 256), 40).save(nothing)
            photos = list(two.map(open_photo, (nothing, nothing)))
        model_in_charge().extractor.features(photos[0])
        load_settings()
    assert shed.control is not None
    registry()


def serve_page(port: int, open_browser: bool = False) -> None:
    """Serve on loopback until stopped. Raises SwardkeyError when the port is taken."""
    uploads = home() / "uploads"
    uploads.mkdir(parents=True, exist_ok=True)
    # Photos that nobody named: whoever chose them has left.
    shutil.rmtree(uploads / "waiting", ignore_errors=True)
    # Before the page is built: its parts note where their files lie.
    os.environ["GRADIO_TEMP_DIR"] = str(uploads)
    shed = open_shed()
    blocks = build_page(shed)
    started_in = Path.cwd()
    # gradio hands out files of the folder it is started in: start it in an empty one.
    with tempfile.TemporaryDirectory() as empty:
        os.chdir(empty)
        try:
            blocks.launch(server_port=port, inbrowser=open_browser, prevent_thread_lock=True, **serve_options(shed))
            sys.stdout.write(f"The pages: http://127.0.0.1:{port} (Ctrl-C ends them)\n")
            sys.stdout.flush()
            # After the first page is there, and before the first photo comes.
            threading.Thread(target=warm_up, args=(shed,), daemon=True).start()
            blocks.block_thread()
        except OSError:
            raise SwardkeyError(f"port {port} is taken on this machine; try --port {port + 1}") from None
        finally:
            os.chdir(started_in)
