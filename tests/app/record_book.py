"""A record book with one client, site, visit and treatment, for the tests of the records."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, time
from pathlib import Path

import numpy as np
from PIL import Image

from app.records import (
    Client,
    KeptFinding,
    KeptPhoto,
    Product,
    Reading,
    Records,
    Site,
    Treatment,
    Visit,
    check_records,
    open_records,
)

DAY = date(2026, 6, 1)


@dataclass(frozen=True)
class Kept:
    """The numbers of what was kept."""

    client: int
    site: int
    visit: int
    treatment: Treatment


def filled(treatment: Treatment) -> Treatment:
    """A treatment with all that Victoria asks for."""
    product = Product(name="as on the label", actives="MCPA 340 g/L", groups=(4,), rate="1.50 mL/L")
    return replace(
        treatment,
        products=(product,),
        gear="hand_spray",
        situation="home lawn",
        area_m2=120.0,
        started=time(8, 10),
        finished=time(8, 40),
        weather=(Reading(at=time(8, 10), temperature=20, humidity=60, wind_speed=6, wind_direction="SE"),),
    )


def keep_some(records: Records) -> Kept:
    """One of each, unsigned."""
    client = records.add_client(Client(name="A. Wattle", phone="0000"))
    site = records.add_site(Site(client=client.id, address="1 Low Street", state="VIC", lawn="couch", near=("pets",)))
    visit = records.add_visit(Visit(site=site.id, day=DAY, who="Kim"))
    candidates = [
        {"species": "soliva_sessilis", "common_name": "bindii"},
        {"species": "medicago", "common_name": "other"},
    ]
    records.add_finding(
        KeptFinding(visit.id, {"candidates": candidates}, "confirmed", "soliva_sessilis", 0.97, {"sap": "clear"})
    )
    treatment = records.add_treatment(filled(records.new_treatment(visit.id)))
    return Kept(client.id, site.id, visit.id, treatment)


def book(folder: Path) -> Kept:
    """A folder with such a book, closed."""
    with open_records(folder) as records:
        return keep_some(records)


def photo(path: Path, seed: int = 1) -> Path:
    """A JPEG of noise with a comment, a position and a serial number in it."""
    pixels = np.random.default_rng(seed).integers(0, 255, (120, 160, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned
    exif[0xA431] = "SERIAL-77"
    exif.get_ifd(0x8825)[1] = "S"
    Image.fromarray(pixels).save(path, "JPEG", exif=exif, comment=b"SECRET-PLACE")
    return path


def all_of_it(records: Records, original: Path) -> None:
    """Everything that writes; what is done is printed at once, as a person would be told."""
    kept = keep_some(records)
    print(f"treatment {kept.treatment.id}", flush=True)
    records.add_photo(KeptPhoto(kept.visit, records.store_photo(original)))
    print("photo", flush=True)
    records.save_draft({"step": "photos"}, "d" * 22)
    print("draft", flush=True)
    print(f"signed {records.sign('treatment', kept.treatment.id, 'Kim').sha256}", flush=True)
    print(f"signed {records.sign('visit', kept.visit, 'Kim').sha256}", flush=True)
    amended = records.amend("treatment", kept.treatment.id, replace(kept.treatment, area_m2=9.0), "Kim", "why")
    print(f"signed {amended.sha256}", flush=True)


def nothing_lost(folder: Path, printed: str) -> None:
    """What was printed as done is there, and the book is sound."""
    said = printed.splitlines()
    with open_records(folder) as records:
        found = check_records(records)
        assert found.sound, found.faults
        signed = [row["sha256"] for row in records.database.read("SELECT sha256 FROM signed ORDER BY sequence")]
        claimed = [line.split()[1] for line in said if line.startswith("signed")]
        assert signed[: len(claimed)] == claimed and len(signed) - len(claimed) in (0, 1)
        assert len(records.database.read("SELECT 1 FROM photos")) >= ("photo" in said)
        assert len(records.database.read("SELECT 1 FROM drafts")) >= ("draft" in said)
        if "treatment 1" in said:
            assert records.groups_used(1) == (4,) and records.search("wattle")
