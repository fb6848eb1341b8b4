"""The pages as gradio blocks: on each one piece of HTML, whose script asks the server for what is to be shown."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import gradio as gr
from anyio import CapacityLimiter, to_thread

from app.web import api, steps
from app.web import photos_page as photos
from app.web import spray_page as spray
from app.web.context import Context
from app.web.draft import ID, Draft, new_id
from app.web.faults import errors_as_notices
from app.web.frame import Address, fault, head
from app.web.message import Message, read_address, read_message
from app.web.new_draft import begin_draft, unfinished_title
from app.web.side_pages import SIDE_PAGES, SidePage
from app.web.theme import SCRIPT
from app.web.uploads import Uploads, remove_upload
from model.errors import SwardkeyError

# Two cores look at two photos at a time; of what is quickly done, more at once would only wait for one another.
WITH_FILES, QUICK = 2, 4
MOST_WAITING = 64  # presses; whoever comes then is asked to try again
FULL = "Too many people are waiting just now. Try again in a minute; nothing is lost."
Change = Callable[[Draft], tuple[Draft, list[str]]]
# What takes the files that a page sends, by the name of its input.
UPLOADS: dict[str, Callable[[Context, Draft, Sequence[Path]], tuple[Draft, list[str]]]] = {
    "add_photos": photos.add,
    "add_forecast": spray.take_forecast,
}


class Pages:
    """The steps from photos to record: each press reads the draft, changes it, saves it and renders it."""

    def __init__(self, context: Context) -> None:
        self.context = context

    def open(self, address: Address) -> str:
        """The plant that an address names at its step, or a new one."""
        plant, notices = address.get("plant", ""), []
        draft, new = None, Draft(new_id(), month=date.today().month)
        if plant or address.get("way"):  # one that is to be named needs nothing that must be loaded first
            self.context.wait_until_ready()
        try:
            draft = self._read(plant)
            if plant and draft is None:
                notices.append("No plant is saved under this address, so this is a new one.")
            if draft is not None and address.get("step") in {*steps.MODULES} - {draft.step}:
                draft = steps.go(self.context, draft, {}, address["step"])
            if draft is None:
                new = steps.reached(begin_draft(self.context, new.id, address))
        except SwardkeyError as error:
            notices.append(fault(str(error)))
        return self._show(draft or new, notices, kept=draft is not None)

    def press(self, message: Message) -> str:
        """The plant after a button of its step, or with more files."""
        context, upload = self.context, UPLOADS.get(message.do)
        if upload is not None:
            return self._change(message.plant, lambda draft: upload(context, draft, message.files), message.address)
        act = partial(steps.act, context, do=message.do, fields=message.fields, which=message.which)
        return self._change(message.plant, act, message.address)

    def _change(self, plant: str, change: Change, address: Mapping[str, str]) -> str:
        """Change a draft and save it, at the step that its page shows; a sentence where that cannot be."""
        self.context.wait_until_ready()
        if not ID.fullmatch(plant):
            why = "This page was out of date, so this is a new plant; the previous one is saved under its own address"
            return self._show(Draft(new_id(), month=date.today().month), [fault(why)], kept=False)
        with self.context.drafts.lock(plant):
            draft, kept = Draft(plant, month=date.today().month), False
            notices: list[str] = []
            with errors_as_notices(notices):
                saved = self._read(plant)
                kept = saved is not None
                draft = saved or steps.reached(begin_draft(self.context, plant, address))
                draft = steps.at_step(draft, address.get("step", ""))
                after, notices = change(draft)
                after = steps.reached(after)
                # One that became a visit was saved with it, and is only looked at.
                if after != draft and not after.record.get("visit"):
                    self.context.drafts.save(after)
                draft, kept = after, kept or after != draft
        return self._show(draft, notices, kept)

    def _read(self, plant: str) -> Draft | None:
        draft = self.context.drafts.read(plant)
        return draft and steps.known(draft)

    def _show(self, draft: Draft, notices: list[str], kept: bool) -> str:
        try:
            below = steps.body(self.context, draft)
        except SwardkeyError as error:
            notices = [*notices, fault(str(error))]
            below = steps.body(self.context, Draft(draft.id, shots=draft.shots, month=draft.month))
        called = unfinished_title(draft) if kept else ""
        return head("/", draft, notices, steps=steps.shown_steps(draft), kept=kept, called=called) + below


class Queue:
    """Limits how many requests of all pages are worked on at once."""

    def __init__(self) -> None:
        self.quick, self.with_files = CapacityLimiter(QUICK), CapacityLimiter(WITH_FILES)

    def waiting(self) -> int:
        """How many requests wait for their turn."""
        return sum(limiter.statistics().tasks_waiting for limiter in (self.quick, self.with_files))

    async def run(self, work: Callable[[], str], with_files: bool = False) -> dict[str, str]:
        """The page that ``work`` makes when its turn comes, or why there is none."""
        if self.waiting() >= MOST_WAITING:
            return {"refused": FULL}
        notices: list[str] = []
        with errors_as_notices(notices):
            return {"page": await to_thread.run_sync(work, limiter=self.with_files if with_files else self.quick)}
        return {"refused": notices[0]}


def build_page(context: Context, uploads: Uploads) -> gr.Blocks:
    """All pages and the API as gradio blocks, not yet served."""
    queue = Queue()
    blocks = gr.Blocks(title="swardkey", analytics_enabled=False, delete_cache=(600, 3600))
    with blocks:
        _add(Pages(context), queue, uploads)
        api.add(context, uploads)
    for name, module in SIDE_PAGES.items():
        with blocks.route(name, module.ADDRESS, show_in_navbar=False):
            _add(SidePage(context, module), queue, uploads)
    blocks.queue(max_size=MOST_WAITING, default_concurrency_limit=WITH_FILES)
    return blocks


def _add(page: Pages | SidePage, queue: Queue, uploads: Uploads) -> None:
    """One page: its script calls these functions by their names."""

    async def open_page(query: Any) -> dict[str, str]:
        return await queue.run(lambda: page.open(read_address(query)))

    async def press(sent: Any) -> dict[str, str]:
        with_files = isinstance(sent, Mapping) and bool(sent.get("files"))
        return await queue.run(lambda: _pressed(page, sent, uploads), with_files)

    async def waiting(_: Any) -> int:
        return queue.waiting()

    gr.HTML(
        "",
        js_on_load=SCRIPT,
        server_functions=[open_page, press, waiting],
        elem_classes="area",
        apply_default_css=False,
    )


def _pressed(page: Pages | SidePage, sent: Any, uploads: Uploads) -> str:
    """The page after a message; files that it did not take are not kept."""
    message = read_message(sent, uploads)
    try:
        return page.press(message)
    finally:
        for file in message.files:
            remove_upload(file)
