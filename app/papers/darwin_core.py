"""Confirmed findings for open biodiversity portals: Darwin Core, as a table or as an archive.

Places leave the machine by choice only, and rounded; clients and addresses never do.
"""

from __future__ import annotations

import csv
import io
import math
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from uuid import NAMESPACE_URL, uuid5
from xml.sax.saxutils import escape

from app.papers.csv_table import as_csv
from app.records.entries import Site, VisitRecord
from app.records.findings import KeptFinding
from model.errors import AnswerError
from model.flora import Flora

DWC, DCTERMS = "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/"
META = """<?xml version='1.0' encoding='utf-8'?>
<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">
  <core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy="&quot;"
        ignoreHeaderLines="1" rowType="{rows}">
    <files><location>occurrence.txt</location></files>
    <id index="0" />
    {fields}
  </core>
</archive>
"""
EML = """<?xml version='1.0' encoding='utf-8'?>
<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1" packageId="urn:uuid:{package}" system="swardkey" scope="system">
  <dataset>
    <title>Weeds of lawns and gardens, found and confirmed on visits</title>
    <creator><organizationName>{by}</organizationName></creator>
    <metadataProvider><organizationName>{by}</organizationName></metadataProvider>
    <pubDate>{day}</pubDate>
    <language>en</language>
    <abstract>
      <para>Weeds seen on visits to lawns and gardens. Each was confirmed by the characters that tell it from its
      look-alikes, or by a person; identificationVerificationStatus says which. Places are left out or rounded.</para>
    </abstract>
    <intellectualRights>
      <para><ulink url="{address}"><citetitle>{licence}</citetitle></ulink></para>
    </intellectualRights>
    <contact><organizationName>{by}</organizationName></contact>
  </dataset>
</eml:eml>
"""
# The licences that portals take.
LICENCES = {
    "CC0": "http://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "CC BY": "http://creativecommons.org/licenses/by/4.0/legalcode",
    "CC BY-NC": "http://creativecommons.org/licenses/by-nc/4.0/legalcode",
}
STATES = {
    "NSW": "New South Wales", "VIC": "Victoria", "QLD": "Queensland", "WA": "Western Australia",
    "SA": "South Australia", "TAS": "Tasmania", "ACT": "Australian Capital Territory", "NT": "Northern Territory",
}  # fmt: skip
MOST_DECIMALS = 3  # of a degree, about a hundred metres: a finer one would name a house
METRES_A_DEGREE = 111_320.0
COLUMNS = (
    "occurrenceID", "basisOfRecord", "occurrenceStatus", "eventDate", "scientificName", "taxonRank", "kingdom",
    "family", "vernacularName", "identificationVerificationStatus", "identificationRemarks", "identifiedBy",
    "dateIdentified", "recordedBy", "countryCode", "country", "stateProvince", "decimalLatitude", "decimalLongitude",
    "geodeticDatum", "coordinateUncertaintyInMeters", "coordinatePrecision", "dataGeneralizations",
    "informationWithheld", "license",
)  # fmt: skip


@dataclass(frozen=True)
class Sharing:
    """What is given away and how. ``by`` is named as the publisher; ``decimals`` of a degree, None for no places.

    ``dataset`` is the random id of the record book, from which each finding has a name that stays.
    ``names``: whether to say who saw and who named the plant.
    """

    by: str
    licence: str
    dataset: str
    decimals: int | None = None
    names: bool = False


def check_sharing(sharing: Sharing) -> Sharing:
    """The same, once it can be given away so. Raises AnswerError naming what cannot."""
    if sharing.licence not in LICENCES:
        raise AnswerError(f"--licence {sharing.licence or 'nothing'}: choose one of {', '.join(LICENCES)}")
    if not sharing.by.strip():
        raise AnswerError("--by: portals must name a publisher; give the name to show there")
    if sharing.decimals is not None and not 0 <= sharing.decimals <= MOST_DECIMALS:
        raise AnswerError(
            f"--decimals {sharing.decimals}: give 0 to {MOST_DECIMALS}; more would point at a client's house"
        )
    return sharing


def confirmed(visits: Iterable[VisitRecord], flora: Flora) -> list[tuple[VisitRecord, KeptFinding]]:
    """The findings that may be shared: of a plant of the flora, confirmed by the key or by a person."""
    return [
        (record, found)
        for record in visits
        for found in record.findings
        if found.species in flora.species and (found.confirmed_by.strip() or found.status == "confirmed")
    ]


def occurrences(visits: Iterable[VisitRecord], flora: Flora, sharing: Sharing) -> list[tuple[str, ...]]:
    """The rows of the occurrence table, with its heads first."""
    check_sharing(sharing)
    found = (_occurrence(record, finding, flora, sharing) for record, finding in confirmed(visits, flora))
    return [COLUMNS, *(tuple(row.get(column, "") for column in COLUMNS) for row in found)]


def occurrence_csv(visits: Iterable[VisitRecord], flora: Flora, sharing: Sharing) -> bytes:
    """The occurrences as CSV for a spreadsheet, its cells guarded."""
    return as_csv(occurrences(visits, flora, sharing))


def archive(visits: Iterable[VisitRecord], flora: Flora, sharing: Sharing, day: date) -> bytes:
    """A Darwin Core archive: meta.xml, eml.xml and occurrence.txt in a zip; ``day`` is that of publication."""
    rows = occurrences(visits, flora, sharing)
    if len(rows) == 1:
        raise AnswerError("no finding is confirmed yet, so there is nothing to share; confirm one in its visit")
    out = io.BytesIO()
    files = {"meta.xml": meta_xml(), "eml.xml": eml_xml(sharing, day, rows), "occurrence.txt": _tabbed(rows)}
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, data in files.items():
            zipped.writestr(zipfile.ZipInfo(name, (day.year, day.month, day.day, 0, 0, 0)), data)
    return out.getvalue()


def _occurrence(record: VisitRecord, found: KeptFinding, flora: Flora, sharing: Sharing) -> dict[str, str]:
    plant = flora.species[found.species or ""]
    shown = ", ".join(name.replace("_", " ") for name, answer in found.answers.items() if answer not in ([], ()))
    row = {
        "occurrenceID": _known_as(record, found, sharing),
        "basisOfRecord": "HumanObservation",
        "occurrenceStatus": "present",
        "eventDate": record.visit.day.isoformat(),
        "scientificName": plant.scientific_name,
        "taxonRank": "species",
        "kingdom": "Plantae",
        "family": "" if plant.family == "not given" else plant.family,
        "vernacularName": plant.common_name,
        "identificationVerificationStatus": verification(found),
        "identificationRemarks": f"characters looked at: {shown}" if shown else "",
        "dateIdentified": found.confirmed_at[:10],
        "countryCode": "AU",
        "country": "Australia",
        "stateProvince": STATES.get(record.site.state, ""),
        "license": LICENCES[sharing.licence],
    }
    if sharing.names:
        row |= {"identifiedBy": found.confirmed_by, "recordedBy": record.visit.who}
    return row | _place(record.site, sharing.decimals)


def verification(found: KeptFinding) -> str:
    """Who stands for the name, in words that a portal shows."""
    if found.status == "confirmed":
        return "confirmed by characters and by the observer" if found.confirmed_by else "confirmed by characters"
    return "confirmed by the observer"


def _known_as(record: VisitRecord, found: KeptFinding, sharing: Sharing) -> str:
    """A name of the occurrence that is the same in every export of this book, and gives away no place or client."""
    parts = (sharing.dataset, record.visit.id, found.id)
    return f"urn:uuid:{uuid5(NAMESPACE_URL, 'swardkey:' + ':'.join(map(str, parts)))}"


def _place(site: Site, decimals: int | None) -> dict[str, str]:
    if site.latitude is None or site.longitude is None:
        return {}
    if decimals is None:
        return {"informationWithheld": "the place is known and was withheld"}
    exact = min(decimals, _decimals(site.latitude), _decimals(site.longitude))
    return {
        "decimalLatitude": f"{site.latitude:.{exact}f}",
        "decimalLongitude": f"{site.longitude:.{exact}f}",
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": str(uncertainty(site.latitude, exact)),
        "coordinatePrecision": f"{10.0**-exact:.{exact}f}",
        "dataGeneralizations": f"coordinates rounded to {exact} decimals of a degree",
    }


def _decimals(degrees: float) -> int:
    """With how many decimals a number was typed; never more exact than that."""
    return len(f"{degrees:.10f}".rstrip("0").partition(".")[2])


def uncertainty(latitude: float, decimals: int) -> int:
    """Metres from a rounded place within which the true one lies: half the diagonal of its cell, rounded up.

    >>> uncertainty(-33.9, 2), uncertainty(0, 0)
    (724, 78716)
    """
    half = 0.5 * 10.0**-decimals
    nearest = max(abs(latitude) - half, 0.0)  # the end of the cell at which a degree of longitude is longest
    north = half * METRES_A_DEGREE
    return math.ceil(math.hypot(north, north * math.cos(math.radians(nearest))))


def _tabbed(rows: Iterable[tuple[str, ...]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter="\t", lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerows([" ".join(cell.split()) for cell in row] for row in rows)
    return out.getvalue().encode()


def meta_xml() -> bytes:
    """What the archive holds, for the portal's reader."""
    terms = [f"{DCTERMS if column == 'license' else DWC}{column}" for column in COLUMNS]
    fields = "".join(f'<field index="{index}" term="{term}" />' for index, term in enumerate(terms))
    return META.format(rows=f"{DWC}Occurrence", fields=fields).encode()


def eml_xml(sharing: Sharing, day: date, rows: list[tuple[str, ...]]) -> bytes:
    """Who publishes the archive, under which licence, and what it is."""
    name = uuid5(NAMESPACE_URL, repr(rows))
    by, licence = escape(sharing.by), escape(sharing.licence)
    return EML.format(package=name, by=by, day=day, address=LICENCES[sharing.licence], licence=licence).encode()
