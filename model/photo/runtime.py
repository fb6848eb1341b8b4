"""The library that runs the networks, told to report to nobody before it is loaded.

Its official builds of 1.29 and later send events to their maker, and leave a number for this machine in the user's
cache folder; on Windows they have always written events for the system to pass on.
"""

from __future__ import annotations

import os
import sys

os.environ["ORT_DISABLE_TELEMETRY"] = "1"  # it asks once, when it is loaded

import onnxruntime

if sys.platform == "win32":  # where it does not ask the environment
    onnxruntime.disable_telemetry_events()

__all__ = ["onnxruntime"]
