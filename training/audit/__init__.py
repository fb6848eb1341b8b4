"""The check of labelled photos: what spoils them, which are copies, which names are doubtful, what is missing."""

from training.audit.check import check_photos
from training.audit.decisions import Decision, read_decisions, write_decisions
from training.audit.report import Report
from training.audit.settings import Settings, load_settings

__all__ = [
    "Decision",
    "Report",
    "Settings",
    "check_photos",
    "load_settings",
    "read_decisions",
    "write_decisions",
]
