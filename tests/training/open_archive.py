"""An archive of observations on this machine, which answers as the recorded replies of the real one do."""

from __future__ import annotations

import io
import json
import re
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import requests
from PIL import Image

BY, BY_NC = "http://creativecommons.org/licenses/by/4.0/", "http://creativecommons.org/licenses/by-nc/4.0/"


def picture(seed: int) -> bytes:
    """A JPEG that is like no other."""
    pixels = np.random.default_rng(seed).integers(0, 255, (240, 320, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG")
    return out.getvalue()


@dataclass
class Archive:
    """What it holds: ``taxa`` names to replies, ``records`` by key of a taxon, ``files`` by path; how it behaves."""

    port: int = 0
    taxa: dict[str, dict[str, Any]] = field(default_factory=dict)
    records: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    ways: dict[str, str] = field(default_factory=dict)
    asked: Counter[str] = field(default_factory=Counter)
    busy: int = 0
    number: int = 1000

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    def add_taxon(self, name: str, key: str, **more: Any) -> None:
        """A name of the archive, in the form of version 2."""
        usage = {"key": key, "canonicalName": name, "rank": "SPECIES", "status": "ACCEPTED"}
        diagnostics = {"matchType": "EXACT", "confidence": 99}
        self.taxa[name] = {"usage": usage, "diagnostics": diagnostics, "synonym": False, **more}

    def add(self, key: str, data: bytes, observer: str, way: str = "", licence: str = BY, **more: Any) -> str:
        """An observation with one photo; the path of the photo."""
        self.number += 1
        path = f"/photos/{self.number}/original.jpg"
        self.files[path], self.ways[path] = data, way
        address, page = f"http://{self.host}{path}", f"https://photos.example/{self.number}"
        media = {"type": "StillImage", "format": "image/jpeg", "license": licence, "creator": observer,
                 "references": page, "identifier": address}  # fmt: skip
        record = {"key": self.number, "basisOfRecord": "HUMAN_OBSERVATION", "license": BY_NC, "recordedBy": observer,
                  "countryCode": "AU", "month": self.number % 12 + 1, "decimalLatitude": -30.0 - self.number % 7,
                  "decimalLongitude": 150.0, "issues": [], "media": [media], **more}  # fmt: skip
        self.records.setdefault(key, []).append(record)
        return path


class _Handler(BaseHTTPRequestHandler):
    archive: Archive

    def log_message(self, format: str, *args: Any) -> None:
        pass

    def do_GET(self) -> None:
        address = urlsplit(self.path)
        self.archive.asked[address.path] += 1
        given = {name: values[0] for name, values in parse_qs(address.query).items()}
        if self.archive.busy:
            self.archive.busy -= 1
            self._answer(429, b"slow down", "text/plain", {"retry-after": "0"})
        elif address.path.endswith("/species/match"):
            nothing = {"diagnostics": {"matchType": "NONE", "confidence": 100, "note": "No match"}, "synonym": False}
            self._json(self.archive.taxa.get(given.get("scientificName", ""), nothing))
        elif address.path.endswith("/occurrence/search"):
            self._search(given, parse_qs(address.query))
        else:
            self._photo(address.path)

    def _search(self, given: dict[str, str], every: dict[str, list[str]]) -> None:
        found = self.archive.records.get(given["taxonKey"], [])
        if "country" in every:
            found = [record for record in found if record["countryCode"] in every["country"]]
        at, limit = int(given["offset"]), int(given["limit"])
        page, end = found[at : at + limit], at + limit >= len(found)
        self._json({"offset": at, "limit": limit, "endOfRecords": end, "count": len(found), "results": page})

    def _photo(self, path: str) -> None:
        data, way = self.archive.files.get(path), self.archive.ways.get(path, "")
        if data is None or way == "gone":
            self._answer(404, b"gone", "text/plain")
        elif way == "elsewhere":
            self._answer(302, b"", "text/plain", {"location": "http://192.0.2.7/photo.jpg"})
        elif way == "page":
            self._answer(200, b"<html>", "text/html")
        elif way == "liar":
            self._answer(200, data[: len(data) // 2], "image/jpeg", {"content-length": str(len(data))})
        elif way == "huge":
            self._answer(200, data, "image/jpeg", {"content-length": "99000000"})
        else:
            if way == "slow":
                time.sleep(0.3)
            self._answer(200, data, "image/jpeg")

    def _json(self, reply: Any) -> None:
        self._answer(200, json.dumps(reply).encode(), "application/json")

    def _answer(self, status: int, data: bytes, kind: str, headers: dict[str, str] | None = None) -> None:
        self.send_response(status)
        for name, value in {"content-type": kind, "content-length": str(len(data)), **(headers or {})}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(data)
        self.close_connection = True


@contextmanager
def open_archive(monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    """Serve an archive; the client's questions to the real one go to it."""
    archive = Archive()
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("Handler", (_Handler,), {"archive": archive}))
    archive.port = server.server_port
    threading.Thread(target=server.serve_forever, daemon=True).start()
    real = requests.get

    def get(url: str, **more: Any) -> requests.Response:
        return real(re.sub(r"^https://api\.gbif\.org", f"http://{archive.host}", url), **more)

    monkeypatch.setattr("pygbif.gbifutils.requests.get", get)
    monkeypatch.setattr("training.collection.gbif.WAITS", (0.0, 0.0, 0.0))
    monkeypatch.setattr("training.collection.open_photo.CACHE", f"http://{archive.host}/cache/{{key}}/{{digest}}")
    try:
        yield archive
    finally:
        server.shutdown()
