"""Ask the sender: the message and the page for whoever has the plant, and the reply pasted back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import quote

from app.present.requested import request_message, what_changed
from app.services.reply import read_reply, with_reply
from app.services.requesting import request_of
from app.web.context import Context
from app.web.draft import Choosing, Draft
from app.web.frame import Fields, FormError, one
from model.errors import AnswerError

SENDER = "sender"  # what a draft is ``asking`` while its page shows the request


def shown(context: Context, draft: Draft) -> dict[str, str]:
    """The message, and a link that begins a mail with it; empty where nothing is to be asked, or nothing any more."""
    if draft.asking != SENDER:
        return {}
    try:
        message = request_message(request_of(context.interview(draft)))
    except AnswerError:
        return {}
    lines = message.replace("\n", "\r\n")
    return {"message": message, "mail": f"mailto:?body={quote(lines)}"}


def request_file(context: Context, draft: Draft) -> bytes:
    """The page that goes with the message. Raises AnswerError where there is nothing to ask."""
    from app.papers.reply_sheet import reply_sheet

    return reply_sheet(request_of(context.interview(draft)))


def ask_sender(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the request. Raises AnswerError where there is nothing to ask."""
    request_of(context.interview(draft))
    return replace(draft.at("questions"), asking=SENDER)


def take_reply(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
    """Put the pasted reply in, and say what it changed. Raises AnswerError where it is none."""
    if not one(fields, "reply"):
        raise FormError("Paste the text that the sender sent back, then press Use this reply.")
    before = context.interview(draft)
    reply = read_reply(one(fields, "reply"), context.key.flora.characters)
    after = with_reply(before, reply)
    changed: Any = replace(draft, answers=after.answers, visible=after.visible, asking="", choosing=Choosing())
    return changed, [" ".join(what_changed(reply, before, after))]


ACTIONS = {"ask_sender": ask_sender, "take_reply": take_reply}
