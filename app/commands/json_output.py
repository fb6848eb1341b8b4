"""What --json prints: one object on standard output, and nothing else."""

from __future__ import annotations

import json
import sys
from typing import Any


def print_json(data: dict[str, Any]) -> None:
    """Print one JSON object on a line of its own."""
    sys.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n")
