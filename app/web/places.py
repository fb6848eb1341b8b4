"""The places beside the path: flora, records, learning, printed key. One page each, told by its address."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

import gradio as gr

from app.web import flora_page as flora
from app.web import key_page as printed
from app.web import learning_page as learning
from app.web import records_page as records
from app.web.context import Context
from app.web.frame import Fields, fault, head, read_fields, render
from app.web.guard import in_a_sentence
from app.web.theme import SCRIPT
from model.errors import SwardkeyError

Address = dict[str, str]
Shown = tuple[Any, ...]
QUIET: dict[str, Any] = {"api_visibility": "private", "show_progress": "hidden"}
# What is quickly done, for all pages together; more at once would only wait for one another.
BESIDE: dict[str, Any] = QUIET | {"concurrency_id": "pages", "concurrency_limit": 4}
# What may take long, such as a zip of photos.
SLOW: dict[str, Any] = QUIET | {"concurrency_id": "files", "concurrency_limit": 1}
PLACES: dict[str, ModuleType] = {"Flora": flora, "Records": records, "Learn": learning, "Key": printed}
POLL = 1.0  # seconds between looks at work that goes on


def told_by(event: gr.EventData) -> dict[str, Any]:
    """What a button told; nothing where it is of another shape."""
    told = getattr(event, "_data", None)
    return told if isinstance(told, dict) else {}


class Place:
    """The handlers of a place: its address in, its page out. No state of their own."""

    def __init__(self, context: Context, module: ModuleType) -> None:
        self.context = context
        self.module = module

    def open(self, address: Address) -> Shown:
        """The page of an address."""
        return self.show({name: str(value)[:200] for name, value in address.items()}, [])

    def act(self, address: Address, told: dict[str, Any]) -> Shown:
        """What a button does."""

        def change() -> tuple[Address, list[str]]:
            fields: Fields = read_fields(told.get("fields", {}))
            return self.module.act(self.context, address, str(told.get("do", "")), fields, str(told.get("with", "")))  # type: ignore[no-any-return]

        return self._after(change, address)

    def add_files(self, address: Address, files: list[str] | None) -> Shown:
        """Photos or a zip for the collection."""
        return self._after(lambda: learning.take_files(address, files or []), address)

    def _after(self, change: Callable[[], tuple[Address, list[str]]], address: Address) -> Shown:
        self.context.wait_until_ready()
        notices: list[str] = []
        with in_a_sentence(notices):
            address, notices = change()
        return self.show(address, notices)

    def show(self, address: Address, notices: list[str]) -> Shown:
        """The address, the top, and the rest of the page."""
        self.context.wait_until_ready()
        try:
            below = self.module.body(self.context, address)
        except SwardkeyError as error:
            notices, address = [*notices, fault(str(error))], {}
            below = self.module.body(self.context, address)
        above = head(self.module.ADDRESS, None, notices, address)
        if self.module is learning:
            return address, above + render("learning_head.html"), below, gr.Timer(active=learning.work.state.running)
        return address, above, below


def build_places(blocks: gr.Blocks, context: Context) -> None:
    """Add the places to the blocks, each under its address."""
    for name, module in PLACES.items():
        with blocks.route(name, module.ADDRESS, show_in_navbar=False):
            _build(blocks, Place(context, module))


def _build(blocks: gr.Blocks, place: Place) -> None:
    def opened(request: gr.Request) -> Shown:
        return place.open(dict(request.query_params))

    def acted(address: Address, event: gr.EventData) -> Shown:
        return place.act(address, told_by(event))

    address = gr.State({})
    above = gr.HTML("", js_on_load=SCRIPT, elem_classes="area", apply_default_css=False)
    if place.module is learning:
        upload = gr.UploadButton(
            "Add photos or a zip",
            file_count="multiple",
            file_types=["image", ".heic", ".heif", ".zip"],
            variant="primary",
            elem_classes="upload",
        )
    below = gr.HTML("", js_on_load=SCRIPT, elem_classes="area", apply_default_css=False)
    shown: list[Any] = [address, above, below]
    if place.module is learning:
        timer = gr.Timer(POLL, active=False)
        shown.append(timer)
        timer.tick(lambda at: place.show(at, []), address, shown, **BESIDE)
        upload.upload(place.add_files, [address, upload], shown, **SLOW)
    blocks.load(opened, None, shown, **BESIDE)
    above.act(acted, address, shown, **BESIDE)
    below.act(acted, address, shown, **BESIDE)
