"""Open photos: names and records of an archive, which photos are taken, and how they come into the collection."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from model.errors import CollectionError
from model.identify import Key
from tests.training.open_archive import BY_NC, Archive, open_archive, picture
from training.collection import Collection, Names, Outcome, plan_intake
from training.collection.credits import as_markdown, credits_for
from training.collection.fetch import Fetcher
from training.collection.gbif import Taxon, taxon_of
from training.collection.gbif_source import OpenPhotos, OpenPlan, plan_open
from training.collection.open_photo import OpenPhoto, choose, photos_of
from training.collection.open_rules import load_open_rules

RECORDED = Path(__file__).resolve().parents[3] / "shared" / "gbif"
RULES = load_open_rules()
OPEN = ("CC0", "CC BY", "CC BY-SA")
DANDELION, CLOVER = "Taraxacum officinale", "Trifolium repens"


def reply(name: str) -> dict[str, Any]:
    file = RECORDED / name
    if not file.exists():
        pytest.skip("without the recorded replies, a photo taken under a licence that forbids it goes unseen")
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))["reply"]
    return found


@pytest.fixture
def archive(monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    with open_archive(monkeypatch) as found:
        yield found


def photo(number: int, **more: Any) -> OpenPhoto:
    plain = OpenPhoto("a", f"https://x.example/{number}", "", "CC BY 4.0", "Kim", "", str(number), f"o{number}", "p", 1)
    return replace(plain, **more)


# Names. The form of version 2 is from the client's own documentation, that of version 1 from recorded replies.


def test_recorded_names_are_taken_or_doubted() -> None:
    assert taxon_of(reply("name_backbone.json")) == Taxon("9206251", "Helianthus annuus", False)
    assert taxon_of(reply("name_backbone_multiple_matches.json")) == "No match because of too little confidence"


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ({"usageKey": 1, "species": "Soliva sessilis", "matchType": "EXACT", "confidence": 97, "rank": "SPECIES",
          "acceptedUsageKey": 2, "synonym": True}, Taxon("2", "Soliva sessilis", True)),
        ({"usage": {"key": "A", "canonicalName": "Gymnostyles sessilis", "rank": "SPECIES"}, "synonym": True,
          "acceptedUsage": {"key": "B", "canonicalName": "Soliva sessilis", "rank": "SPECIES"},
          "diagnostics": {"matchType": "EXACT", "confidence": 98}}, Taxon("B", "Soliva sessilis", True)),
        ({"usage": {"key": "A", "canonicalName": "Soliva", "rank": "GENUS"},
          "diagnostics": {"matchType": "HIGHERRANK", "confidence": 98}}, "only a higherrank match, with Soliva"),
        ({"usage": {"key": "A", "canonicalName": "Soliva sesilis", "rank": "SPECIES"},
          "diagnostics": {"matchType": "FUZZY", "confidence": 95}}, "only a fuzzy match, with Soliva sesilis"),
        ({"usage": {"key": "A", "canonicalName": "Oxalis", "rank": "GENUS"},
          "diagnostics": {"matchType": "EXACT", "confidence": 99}}, "found as a genus only"),
        ({"usage": {"key": "A", "canonicalName": "Oxalis latifolia", "rank": "SPECIES"},
          "diagnostics": {"matchType": "EXACT", "confidence": 60}}, "matched with a confidence of 60 of 100 only"),
        ({}, "no such name is known there"),
        ({"usage": [], "diagnostics": {"matchType": "EXACT", "confidence": 99}}, "the reply names no key"),
    ],
)  # fmt: skip
def test_synonyms_lead_to_the_accepted_name_and_doubts_are_named(given: dict[str, Any], found: Taxon | str) -> None:
    assert taxon_of(given) == found


# Which photos


def test_of_recorded_observations_only_pictures_under_an_asked_licence_of_their_own_are_taken() -> None:
    for name in ("search.json", "search_key1.json", "search_key2.json"):
        for record in reply(name)["results"]:
            media = [entry for entry in record.get("media", []) if entry.get("type", "StillImage") == "StillImage"]
            taken = list(photos_of(record, "a", 0, OPEN, RULES))
            may = [m for m in media if any(kind in m.get("license", "") for kind in ("/by/", "/zero/", "/by-sa/"))]
            assert len(taken) <= len(may) and {one.address for one in taken} <= {m.get("identifier") for m in may}
            assert all(one.creator and one.licence.startswith(OPEN) for one in taken)


@pytest.mark.parametrize(
    "more",
    [{"basisOfRecord": "PRESERVED_SPECIMEN"}, {"basisOfRecord": None}, {"issues": ["TAXON_MATCH_FUZZY"]},
     {"media": [{"type": "Sound", "license": "CC0", "identifier": "https://x.example/a.mp3"}]},
     {"media": [{"license": BY_NC, "identifier": "https://x.example/a.jpg"}]},
     {"media": [{"identifier": "https://x.example/a.jpg"}]}, {"media": "none"}, {"media": [7]},
     {"media": [{"license": "CC0", "identifier": "file:///etc/passwd"}]},
     {"media": [{"license": "CC0", "identifier": "https://x.example/a.jpg", "title": "Herbarium sheet"}]},
     {"key": None}],
)  # fmt: skip
def test_what_is_no_open_photo_of_a_living_plant_is_left(more: dict[str, Any]) -> None:
    good = {"key": 1, "basisOfRecord": "HUMAN_OBSERVATION", "license": "CC0",
            "media": [{"license": "CC0", "identifier": "https://x.example/a.jpg"}]}  # fmt: skip
    assert len(list(photos_of(good, "a", 0, OPEN, RULES))) == 1
    assert list(photos_of({**good, **more}, "a", 0, OPEN, RULES)) == []


def test_the_choice_is_spread_and_keeps_the_limits_whatever_the_order() -> None:
    many = [
        photo(n, observer=f"o{n % 9}", observation=str(n // 5), place=f"p{n % 4}", month=n % 12 + 1) for n in range(300)
    ]
    chosen = choose(many, 60, RULES)
    random.Random(3).shuffle(many)
    assert chosen == choose(many, 60, RULES) and len(chosen) == 60
    assert max(Counter(one.observer for one in chosen).values()) <= RULES.of_one_observer
    assert max(Counter(one.observation for one in chosen).values()) <= RULES.of_one_observation
    assert set(Counter(one.observer for one in chosen).values()) <= {6, 7}
    assert max(Counter(one.month for one in chosen).values()) <= 8


def test_the_nearest_region_and_people_come_first() -> None:
    near, far = [photo(n) for n in range(5)], [photo(n, region=3) for n in range(10, 20)]
    assert [one.region for one in choose([*far, *near], 5, RULES)] == [0] * 5
    assert {one.basis for one in choose([photo(1, basis=2), photo(2), photo(3, basis=2)], 1, RULES)} == {0}


# The archive


def filled(archive: Archive) -> None:
    for name, key in ((DANDELION, "T1"), (CLOVER, "T2")):
        archive.add_taxon(name, key)
        for number in range(12):
            archive.add(key, picture(100 * int(key[1]) + number), f"person {number % 4}")


def planned(archive: Archive, each: int = 10, **names: str) -> OpenPlan:
    wanted = names or {"taraxacum_officinale": DANDELION, "trifolium_repens": CLOVER}
    return plan_open(wanted, each, OPEN, (), RULES)


def test_a_plan_says_what_comes_from_whom_and_skips_doubtful_names(archive: Archive) -> None:
    filled(archive)
    archive.add("T1", picture(1), "person 9", licence=BY_NC)
    plan = planned(archive, a=DANDELION, b="Nullius plantae")
    text = str(plan)
    assert f"{DANDELION}: 10 photos by 4 observers" in text and "Nullius plantae: none (skipped: No match)" in text
    assert "10 CC BY 4.0" in text and "person 1" in text and "about 12 MB in 1 minute" in text
    assert plan.as_json()["species"]["b"] == {"photos": 0, "note": "skipped: No match"}
    assert not any(path.startswith("/photos") for path in archive.asked), "a plan fetches no photo"


def test_a_busy_archive_is_asked_again_and_one_that_stays_so_is_a_sentence(archive: Archive) -> None:
    filled(archive)
    archive.busy = 3
    assert len(planned(archive).photos) == 20
    archive.busy = 99
    with pytest.raises(CollectionError, match="the archive answers 429; try again later"):
        planned(archive)


def test_pages_are_read_on_until_there_are_enough(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("training.collection.gbif.PAGE", 5)
    filled(archive)
    assert len(planned(archive, each=12, a=DANDELION).photos) == 12
    assert archive.asked["/v1/occurrence/search"] == 3


# Into the collection


@pytest.fixture
def collection(tmp_path: Path) -> Collection:
    return Collection(tmp_path / "collection").open()


def add_all(archive: Archive, key: Key, collection: Collection) -> Outcome:
    source = OpenPhotos(planned(archive, each=30), Fetcher(allowed=[archive.host], pause=0))
    return collection.add(plan_intake(source, Names(key.flora), collection, "Kim"))


BROKEN = {
    "gone": "answers 404",
    "elsewhere": "is redirected to 192.0.2.7",
    "page": "is text/html",
    "huge": "over 25 MB",
}


def test_photos_come_with_credit_and_observer_and_what_is_broken_is_named(
    archive: Archive, key: Key, collection: Collection
) -> None:
    filled(archive)
    paths = {archive.add("T1", picture(sum(way.encode())), f"person {way}", way=way): way for way in BROKEN}
    archive.add("T1", picture(7), "person slow", way="slow")
    outcome = add_all(archive, key, collection)
    assert (outcome.species, len(outcome.refused)) == (
        {"taraxacum_officinale": 13, "trifolium_repens": 12},
        len(BROKEN),
    )
    for refused in outcome.refused:
        assert BROKEN[paths[refused.file.removeprefix(f"http://{archive.host}")]] in refused.why
    found = collection.photos()
    assert {one.group for one in found if one.label == "trifolium_repens"} == {f"observer person {n}" for n in range(4)}
    assert {(one.licence, one.creator.split()[0]) for one in found} == {("CC BY 4.0", "person")}


def test_a_second_run_fetches_only_what_is_missing(archive: Archive, key: Key, collection: Collection) -> None:
    filled(archive)
    lost = next(iter(archive.files))
    archive.ways[lost] = "gone"
    assert add_all(archive, key, collection).added == 23
    archive.ways[lost] = ""
    archive.asked.clear()
    again = add_all(archive, key, Collection(collection.folder).open())
    assert (again.added, again.known_already) == (1, 23)
    assert [path for path in archive.asked if path.startswith("/photos")] == [lost]


def test_a_photo_that_its_publisher_lost_is_taken_from_the_archives_copy(
    archive: Archive, key: Key, collection: Collection
) -> None:
    archive.add_taxon(DANDELION, "T1")
    archive.add("T1", picture(5), "Kim", way="gone")
    (one,) = planned(archive, taraxacum_officinale=DANDELION).photos
    archive.files[one.copy.removeprefix(f"http://{archive.host}")] = picture(5)
    source = OpenPhotos(planned(archive, taraxacum_officinale=DANDELION), Fetcher(allowed=[archive.host], pause=0))
    assert collection.add(plan_intake(source, Names(key.flora), collection, "Kim")).added == 1


def test_nothing_is_fetched_from_inside_a_network_unless_it_is_allowed(
    archive: Archive, key: Key, collection: Collection
) -> None:
    filled(archive)
    source = OpenPhotos(planned(archive), Fetcher(pause=0))
    outcome = collection.add(plan_intake(source, Names(key.flora), collection, "Kim"))
    assert outcome.added == 0 and "private network" in outcome.refused[0].why
    assert not any(path.startswith("/photos") for path in archive.asked)


def test_credits_name_every_photo_and_cannot_carry_markup(archive: Archive, key: Key, collection: Collection) -> None:
    archive.add_taxon(DANDELION, "T1")
    archive.add("T1", picture(5), "<script>Kim</script> [a](b)")
    add_all(archive, key, collection)
    credited = credits_for(collection.photos())
    assert [(one.species, one.licence) for one in credited] == [("taraxacum_officinale", "CC BY 4.0")]
    text = as_markdown(credited)
    assert "[CC BY 4.0](https://creativecommons.org/licenses/by/4.0/)" in text
    assert "script Kim /script a (b): taraxacum officinale <https://photos.example/1001>" in text
