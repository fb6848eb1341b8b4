"""The pages in gradio's blocks: each handler reads a plant's draft, changes it, keeps it and shows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import gradio as gr

from app.web import photos_page as photos
from app.web import spray_page as spray
from app.web import steps as flow
from app.web.context import Context
from app.web.draft import ID, Draft, new_id
from app.web.frame import fault, head, read_fields
from app.web.guard import in_a_sentence
from app.web.places import BESIDE, QUIET, build_places, told_by
from app.web.theme import SCRIPT
from model.errors import SwardkeyError

PHOTO_TYPES = ["image", ".heic", ".heif", ".jpg", ".jpeg", ".png", ".webp"]
MOST_WAITING = 64  # events; who comes then is told to try again
# Two cores look at two photos at a time; the decoders are processes of their own.
PHOTOS: dict[str, Any] = QUIET | {"concurrency_id": "photos", "concurrency_limit": 2}
Shown = tuple[Any, ...]
Change = Callable[[Draft], tuple[Draft, list[str]]]


class Pages:
    """The handlers of the path: each reads the plant's draft, changes it, saves it and shows it; none has a state."""

    def __init__(self, context: Context) -> None:
        self.context = context

    def open(self, address: dict[str, str]) -> Shown:
        """The page of an address: the plant that it names at its step, or a new one."""
        plant, notices = address.get("plant", ""), []
        draft = None
        if plant:  # a new one needs nothing that must come in first
            self.context.wait_until_ready()
        try:
            draft = self.context.drafts.read(plant)
            if plant and draft is None:
                notices.append("No plant is kept under this address, so this is a new one.")
            if draft is not None and address.get("step") in {*flow.MODULES} - {draft.step}:
                draft = flow.go(self.context, draft, {}, address["step"])
        except SwardkeyError as error:
            notices.append(fault(str(error)))
        return self._show(draft or Draft(new_id(), month=_this_month()), notices)

    def act(self, plant: str, told: dict[str, Any]) -> Shown:
        """What a button does."""
        fields: Any = told.get("fields", {})
        do, which = str(told.get("do", "")), str(told.get("with", ""))
        return self._change(plant, lambda draft: flow.act(self.context, draft, do, read_fields(fields), which))

    def add_photos(self, plant: str, files: list[str] | None) -> Shown:
        """More photos."""
        return self._change(plant, lambda draft: photos.add(self.context, draft, files or []))

    def add_forecast(self, plant: str, file: str | None) -> Shown:
        """A forecast to spray by."""
        return self._change(plant, lambda draft: (spray.take_forecast(self.context, draft, file or ""), []))

    def _change(self, plant: str, change: Change) -> Shown:
        """Change a draft and keep it; a sentence where that cannot be, and then nothing is lost."""
        self.context.wait_until_ready()
        if not ID.fullmatch(plant):
            told = fault(
                "This page was too old, so this is a new plant; the one before it is kept under its own address"
            )
            return self._show(Draft(new_id(), month=_this_month()), [told])
        with self.context.drafts.lock(plant):
            draft = Draft(plant, month=_this_month())
            notices: list[str] = []
            with in_a_sentence(notices):
                draft = self.context.drafts.read(plant) or draft
                draft, notices = self._changed(draft, change)
        return self._show(draft, notices)

    def _changed(self, draft: Draft, change: Change) -> tuple[Draft, list[str]]:
        """The draft after a change, once it is kept."""
        after, told = change(draft)
        # One that became a visit was kept with it, and is only looked at.
        if after != draft and not after.record.get("visit"):
            self.context.drafts.save(after)
        return after, told

    def _show(self, draft: Draft, notices: list[str]) -> Shown:
        """Id, top, whether photos and forecast may be added, and the rest of the page."""
        try:
            above, below = flow.body(self.context, draft)
        except SwardkeyError as error:
            notices = [*notices, fault(str(error))]
            above, below = flow.body(self.context, Draft(draft.id, shots=draft.shots, month=draft.month))
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


def build_page(context: Context) -> gr.Blocks:
    """All pages as gradio blocks, not yet served."""
    pages = Pages(context)

    def opened(request: gr.Request) -> Shown:
        return pages.open(dict(request.query_params))

    def acted(plant: str, event: gr.EventData) -> Shown:
        return pages.act(plant, told_by(event))

    blocks = gr.Blocks(title="swardkey", analytics_enabled=False, delete_cache=(3600, 86400))
    with blocks:
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
        blocks.load(opened, None, shown, **BESIDE)
        above.act(acted, plant, shown, **BESIDE)
        below.act(acted, plant, shown, **BESIDE)
        camera.upload(pages.add_photos, [plant, camera], shown, **PHOTOS)
        forecast.upload(pages.add_forecast, [plant, forecast], shown, **BESIDE)
    build_places(blocks, context)
    blocks.queue(max_size=MOST_WAITING, default_concurrency_limit=1)
    return blocks
