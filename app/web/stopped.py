"""Where no more is asked: why, what is known all the same, what would decide, and a message that asks for it."""

from __future__ import annotations

from typing import Any

from app.present.deciding import decider_lines, known_so_far, message, why_stopped
from app.web.context import Context
from model.identify import Finding
from model.traits import Answers


def stopped(context: Context, finding: Finding, answers: Answers) -> dict[str, Any]:
    """What the page says of it; no lines where a question is asked, or the plant is none of the flora."""
    lost = finding.status == "unlisted"
    return {
        "why": why_stopped(finding),
        "known": known_so_far(finding, context.key, answers),
        "decide": [] if lost else decider_lines(finding, context.key),
        "message": "" if lost else message(finding, context.key, answers),
    }
