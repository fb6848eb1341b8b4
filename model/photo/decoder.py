"""The process in which pictures are decoded; model/photo/sandbox.py runs this file as a script.

It reads requests on standard input and answers on standard output, one after another:
two lengths (of the words, of the pixels), the words as JSON, the pixels. It ends when its
input does. Whatever a picture does to it costs that picture only.
"""

from __future__ import annotations

import json
import math
import os
import signal
import struct
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

LENGTHS = struct.Struct(">II")
Answer = tuple[dict[str, Any], Any]  # words, and uint8 pixels or None


def answer_for(request: dict[str, Any]) -> Answer:
    """Do what a request asks: {"do": open | whole | metadata, "path": ..., "longest_side": px}."""
    from model.errors import PhotoError
    from model.photo import decode

    path = request["path"]
    try:
        match request["do"]:
            case "open":
                photo = decode.open_photo(path)
                words = {"file": photo.file, "usable": photo.usable, "notes": photo.notes, "size": photo.size}
                return words, photo.pixels
            case "whole":
                return {}, decode.open_whole(path, request["longest_side"])
            case _:
                return {"metadata": decode.time_and_camera(path)}, None
    except PhotoError as error:
        return {"refused": str(error)}, None


def serve(memory: int, seconds: float, answer: Callable[[dict[str, Any]], Answer] = answer_for) -> None:
    """Answer requests until there are no more, in ``memory`` bytes, each in ``seconds`` of processor time."""
    requests, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a decoder prints must not get among the answers
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which then ends its decoders
    _confine(memory)
    _send(answers, {"ready": True}, None)
    while line := requests.readline():
        _allow(seconds)
        _send(answers, *answer(json.loads(line)))


def _send(answers: Any, words: dict[str, Any], pixels: Any) -> None:
    if pixels is not None:
        words["shape"] = pixels.shape
    head, body = json.dumps(words).encode(), b"" if pixels is None else pixels.tobytes()
    answers.write(LENGTHS.pack(len(head), len(body)) + head)
    answers.write(body)
    answers.flush()


def _confine(memory: int) -> None:
    """Limit what this process may take, where the platform can: memory in bytes, no file written, no core."""
    if sys.platform == "win32":
        return
    import resource

    for what, most in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_FSIZE, 0), (resource.RLIMIT_CORE, 0)):
        try:
            resource.setrlimit(what, (most, most))
        except (OSError, ValueError):
            continue  # macOS has no limit of memory


def _allow(seconds: float) -> None:
    """Processor time for one more picture, over all threads, in whole seconds; it ends this process when it is up."""
    if sys.platform == "win32":
        return
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = math.ceil(used.ru_utime + used.ru_stime + seconds)
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    if hard == resource.RLIM_INFINITY or soft < hard:
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    import model.photo.decode  # noqa: F401 - while memory is not limited yet

    serve(int(sys.argv[1]), float(sys.argv[2]))
