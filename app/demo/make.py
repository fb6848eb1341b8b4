"""Make configs/demo_findings.json anew: ``python -m app.demo.make``, after a change to the demo's photos or answers.

Each visit's photos are named by the shipped model and the key with the answers given, as `swardkey identify` does.
"""

from __future__ import annotations

import json
from typing import Any

from app.demo.demo_book import FINDINGS, SAMPLES, read_book
from app.services.photo_model import evidence_of
from model.identify import Key, identify
from model.traits import check_answers

LEAST = 0.01  # probability of a candidate that is kept


def finding_of(visit: dict[str, Any], key: Key) -> dict[str, Any]:
    """What a visit's photos and answers are named as, as a Finding gives it, without improbable candidates."""
    answers = check_answers(key.flora.characters, visit["answers"])
    evidence = evidence_of([SAMPLES / photo for photo in visit["photos"]])
    month = int(visit["day"][:2])
    found = identify(key, answers, evidence, month=month, visible=tuple(visit["visible"])).as_json()
    candidates = [one for one in found["candidates"] if one["probability"] >= LEAST]
    photos = [{**photo, "file": name} for photo, name in zip(found["photos"], visit["photos"], strict=True)]
    kept: dict[str, Any] = _rounded({**found, "candidates": candidates, "photos": photos, "next_question": None})
    return kept


def _rounded(data: Any) -> Any:
    if isinstance(data, dict):
        return {name: _rounded(value) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [_rounded(value) for value in data]
    return round(data, 6) if isinstance(data, float) else data


if __name__ == "__main__":
    key = Key()
    lines = [json.dumps(finding_of(visit, key), ensure_ascii=False) for visit in read_book()["visits"]]
    FINDINGS.write_text("[\n" + ",\n".join(lines) + "\n]\n", encoding="utf-8")
