"""The sandbox in which all pictures are decoded: processes of their own, with limits.

A picture that crashes, hangs or bloats the decoder is refused in one sentence, and the decoder is
restarted; the calling program goes on. The functions are those of model/photo/decode.py.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import PhotoError
from model.photo.decode import Photo, named
from model.photo.decoder import LENGTHS

DECODER = Path(__file__).with_name("decoder.py")
LONGEST_WORDS, LARGEST_PIXELS = 100_000, 64_000_000  # bytes of an answer; more is not ours
START_SECONDS = 60.0
OUT_OF_TIME = int(getattr(signal, "SIGXCPU", 0))  # ends a decoder whose processor time is up; Windows has no such thing
AWAKE = 2  # decoders of a program that looks at several photos at once

PathLike = str | os.PathLike[str]
Pixels = NDArray[np.uint8]
Answer = tuple[dict[str, Any], Pixels]


@dataclass(frozen=True)
class Limits:
    """What one picture may cost: ``seconds`` of processor time and bytes of address space, where the platform can limit
    them, and seconds by the clock, which a busy machine needs far more of.
    """

    seconds: float = 10.0
    memory: int = 1_500_000_000
    clock: float = 60.0


class _FailedError(Exception):
    """The decoder ended in the middle of a picture; the message says how."""


class _TookTooLongError(_FailedError):
    """It was ended because its time was up."""


class _NotStartedError(_FailedError):
    """It ended before it was asked anything: no picture is to blame."""


class _Decoder:
    """One process that decodes. Not for two threads at once."""

    def __init__(self, program: Path, limits: Limits) -> None:
        self._limits = limits
        self._ready = False
        # One thread is enough for sums this small, and more would take address space each.
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        # -P: the folder of the script holds modules with everyday names.
        command = [sys.executable, "-P", str(program), str(limits.memory), str(limits.seconds)]
        pipe = subprocess.PIPE
        try:
            self.process = subprocess.Popen(
                command, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, env=environment
            )
        except OSError as error:
            raise _NotStartedError(error.strerror or str(error)) from None

    def ask(self, request: dict[str, Any]) -> Answer:
        """The words and the pixels of the answer. Raises _FailedError; then this decoder has ended."""
        try:
            self._wait_until_ready()
            assert self.process.stdin is not None
            with suppress(OSError):  # if it has ended there is no answer either
                self.process.stdin.write(json.dumps(request).encode() + b"\n")
                self.process.stdin.flush()
            return self._receive(self._limits.clock)
        except BaseException:  # what is left of the answer would be taken for the next one
            self.end()
            raise

    def _wait_until_ready(self) -> None:
        if not self._ready:
            try:
                self._receive(START_SECONDS)
            except _FailedError as error:
                raise _NotStartedError(str(error)) from None
            self._ready = True

    def _receive(self, seconds: float) -> Answer:
        late = threading.Event()

        def stop() -> None:
            late.set()
            self.process.kill()

        watch = threading.Timer(seconds, stop)
        watch.daemon = True
        watch.start()
        try:
            words, pixels = LENGTHS.unpack(self._read(LENGTHS.size))
            if words > LONGEST_WORDS or pixels > LARGEST_PIXELS:
                raise _FailedError("an answer out of bounds")
            answer = json.loads(self._read(words))
            return answer, np.frombuffer(self._read(pixels), np.uint8).reshape(answer.get("shape", (0,)))
        except (ValueError, TypeError, AttributeError):
            raise _FailedError("an answer that is not one") from None
        except _FailedError:
            if late.is_set():
                raise _TookTooLongError(f"over {seconds:g} s") from None
            if OUT_OF_TIME and self.process.poll() == -OUT_OF_TIME:
                raise _TookTooLongError(f"over {self._limits.seconds:g} s of computing") from None
            raise
        finally:
            watch.cancel()

    def _read(self, count: int) -> bytearray:
        assert self.process.stdout is not None
        found = bytearray(count)
        got = self.process.stdout.readinto(found)  # type: ignore[attr-defined]
        if got < count:
            raise _FailedError(self._how_it_ended())
        return found

    def _how_it_ended(self) -> str:
        with suppress(subprocess.TimeoutExpired):
            status = self.process.wait(5)
            return f"signal {-status}" if status < 0 else f"status {status}"
        return "no answer"

    def end(self) -> None:
        """End it, and leave no process and no open file behind."""
        self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout):
            with suppress(OSError):
                if pipe is not None:
                    pipe.close()
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(5)


class Sandbox:
    """Up to ``decoders`` processes that are started as they are needed and used again and again.

    May be used by several threads; also as a context manager, which ends the processes.
    """

    def __init__(self, decoders: int = AWAKE, limits: Limits | None = None, program: Path = DECODER) -> None:
        self._decoders, self._limits, self._program = decoders, limits or Limits(), program
        self.started = 0  # processes so far
        self._open()

    def _open(self) -> None:
        self._owner = os.getpid()
        self._free = threading.Semaphore(self._decoders)
        self._idle: list[_Decoder] = []

    def start(self) -> None:
        """Start a decoder beside what the program does meanwhile; the first picture then waits less."""
        if not self._idle:
            self._idle.append(self._new())

    def open(self, path: PathLike) -> Photo:
        """See model.photo.decode.open_photo. Raises PhotoError, also for what the decoder does not survive."""
        words, pixels = self._ask(path, "open")
        width, height = words["size"]
        return Photo(named(path), pixels, bool(words["usable"]), tuple(words["notes"]), (width, height))

    def whole(self, path: PathLike, longest_side: int) -> Pixels:
        """See model.photo.decode.open_whole. Raises PhotoError."""
        return self._ask(path, "whole", longest_side=longest_side)[1]

    def time_and_camera(self, path: PathLike) -> tuple[str, str]:
        """See model.photo.decode.time_and_camera. Raises PhotoError."""
        taken, camera = self._ask(path, "metadata")[0]["metadata"]
        return str(taken), str(camera)

    def close(self) -> None:
        """End all decoders; the next picture starts one anew."""
        if self._owner != os.getpid():  # a fork: they belong to the other process
            return
        while self._idle:
            self._idle.pop().end()

    def __enter__(self) -> Sandbox:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _ask(self, path: PathLike, do: str, **more: Any) -> Answer:
        if self._owner != os.getpid():
            self._open()  # after a fork: the other process goes on talking to its decoders
        whole = os.path.abspath(path)  # noqa: PTH100 - links and dots stay as they are
        with self._free:
            words, pixels = self._answer(named(path), {"do": do, "path": whole, **more})
        if "refused" in words:
            cause = str(words["refused"]).removeprefix(f"{named(whole)}: ")
            raise PhotoError(f"{named(path)}: {cause}")
        return words, pixels

    def _new(self) -> _Decoder:
        self.started += 1
        return _Decoder(self._program, self._limits)

    def _answer(self, name: str, request: dict[str, Any]) -> Answer:
        """The answer of a decoder; a second one is asked if the first ends, as that may have been by chance."""
        how = ""
        for _ in range(2):
            try:
                decoder = self._idle.pop() if self._idle else self._new()
                answer = decoder.ask(request)
            except _TookTooLongError as error:
                raise PhotoError(f"{name}: took {error} to open; export it as JPEG") from None
            except _NotStartedError as error:
                raise PhotoError(
                    f"{name}: the program that opens pictures does not start ({error}); close other programs, try again"
                ) from None
            except _FailedError as error:
                how = str(error)
            else:
                self._idle.append(decoder)
                return answer
        raise PhotoError(f"{name}: ends the program that opens pictures ({how}); leave it out or export it as JPEG")


@lru_cache(maxsize=1)
def the_sandbox() -> Sandbox:
    """The sandbox of this program."""
    sandbox = Sandbox()
    atexit.register(sandbox.close)
    return sandbox


def open_photo(path: PathLike) -> Photo:
    """Open, check, turn upright and scale one photo in the sandbox; see model.photo.decode.open_photo.

    Raises PhotoError, in one sentence that names the file.
    """
    return the_sandbox().open(path)
