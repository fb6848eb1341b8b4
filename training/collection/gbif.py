"""Names and observations of GBIF (https://www.gbif.org), through its own client library pygbif.

Nothing is fetched but JSON, from one host. Tried against recorded replies of this service and a local server, not
against the service itself.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import requests
from pygbif import occurrences, species
from pygbif.gbifutils import NoResultException

from model.errors import CollectionError

logging.getLogger().setLevel(logging.WARNING)  # pygbif, when it is loaded, has all libraries report every request
PAGE = 300  # records of one answer, the most that the service gives
TIMEOUT = 30.0  # seconds without a byte
BUSY = (429, 500, 502, 503, 504)
WAITS = (2.0, 10.0, 30.0)  # seconds before each further try
LONGEST_WAIT = 120.0  # seconds that the service may ask us to wait
SURE = 90  # the service's own confidence, 0 to 100, from which a match is taken
CACHE = "https://api.gbif.org/v1/image/cache/occurrence/{key}/media/{digest}"
Reply = Mapping[str, Any]


@dataclass(frozen=True)
class Taxon:
    """A name as GBIF has it: ``key`` of the accepted name, which may differ from the one asked for."""

    key: str
    name: str
    synonym: bool


def match_name(name: str) -> Taxon | str:
    """The accepted taxon of a scientific name, or why it is doubtful, in a few words.

    Raises CollectionError where the service cannot be reached.
    """
    reply = _patiently(partial(species.name_backbone, scientificName=name, kingdom="Plantae", timeout=TIMEOUT))
    return taxon_of(reply)


def taxon_of(reply: Reply) -> Taxon | str:
    """Read a reply of `species/match`, of version 1 (flat) or 2 (usage and diagnostics apart)."""
    diagnostics = _mapping(reply, "diagnostics") or reply
    usage = _mapping(reply, "acceptedUsage") or _mapping(reply, "usage") or reply
    kind, confidence = str(diagnostics.get("matchType") or "NONE"), diagnostics.get("confidence")
    found = str(usage.get("canonicalName") or usage.get("species") or usage.get("scientificName") or "")
    if kind == "NONE":
        return str(diagnostics.get("note") or "no such name is known there")
    if kind not in ("EXACT", "VARIANT"):
        return f"only a {kind.casefold()} match, with {found}"
    if usage.get("rank", "SPECIES") not in ("SPECIES", "SUBSPECIES", "VARIETY", "FORM"):
        return f"found as a {str(usage['rank']).casefold()} only"
    if not isinstance(confidence, int | float) or confidence < SURE:
        return f"matched with a confidence of {confidence} of 100 only"
    key = reply.get("acceptedUsageKey") or usage.get("key") or usage.get("usageKey")
    if not key:
        return "the reply names no key"
    return Taxon(str(key), str(reply.get("species") or found), bool(reply.get("synonym")))


def observations(
    taxon: Taxon, countries: Sequence[str], provinces: Sequence[str], basis: Sequence[str], most: int
) -> Iterator[Reply]:
    """Records with pictures, page by page, at most ``most``.

    Raises CollectionError where the service cannot be reached or answers what is not a list of records.
    """
    asked: dict[str, Any] = {"taxonKey": taxon.key, "mediatype": "StillImage", "basisOfRecord": list(basis)}
    if taxon.key.isdecimal():
        asked["checklistKey"] = None  # numbers are keys of the older checklist
    if countries:
        asked["country"] = list(countries)
    if provinces:
        asked["stateProvince"] = list(provinces)
    offset = 0
    while offset < most:
        limit = min(PAGE, most - offset)
        reply = _patiently(partial(occurrences.search, **asked, limit=limit, offset=offset, timeout=TIMEOUT))
        records = reply.get("results")
        if not isinstance(records, list):
            raise CollectionError("the archive answers without a list of records; try again later")
        yield from (record for record in records if isinstance(record, Mapping))
        offset += limit
        if not records or reply.get("endOfRecords", True):
            return


def _patiently(ask: Callable[[], Any]) -> Reply:
    """One question, asked again with pauses while the service is busy. Raises CollectionError."""
    for wait in (*WAITS, None):
        try:
            reply = ask()
        except requests.HTTPError as error:
            status, headers = (
                (error.response.status_code, error.response.headers) if error.response is not None else (0, {})
            )
            if status not in BUSY or wait is None:
                raise CollectionError(f"the archive answers {status}; try again later") from None
            asked = headers.get("retry-after", "")
            time.sleep(min(LONGEST_WAIT, max(wait, float(asked) if asked.isdecimal() else 0.0)))
        except (requests.RequestException, NoResultException) as error:
            if wait is None:
                what = type(error).__name__
                raise CollectionError(f"the archive cannot be reached ({what}); connect, and try again") from None
            time.sleep(wait)
        except ValueError:
            raise CollectionError("the archive answers with what is not JSON; try again later") from None
        else:
            if not isinstance(reply, Mapping):
                raise CollectionError("the archive answers with what is not a record; try again later")
            return reply
    raise AssertionError("the last try either returns or raises")


def _mapping(reply: Reply, name: str) -> Reply:
    found = reply.get(name)
    return found if isinstance(found, Mapping) else {}
