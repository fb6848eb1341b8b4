"""A Darwin Core archive: occurrences, and the addresses of their photos in a multimedia extension."""

from __future__ import annotations

import codecs
import csv
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath
from xml.parsers import expat

from dwca.descriptors import ArchiveDescriptor, DataFileDescriptor  # type: ignore[import-untyped]
from dwca.exceptions import InvalidArchive  # type: ignore[import-untyped]
from dwca.files import CSVDataFile  # type: ignore[import-untyped]

from model.errors import CollectionError
from training.collection.fetch import Fetcher
from training.collection.licence import OPEN, kind_of, licence_of
from training.collection.names import without_authors
from training.collection.offer import Offered, Refusal, Tree, host_of, needed

META = "meta.xml"
# In all of these a line ends with the byte that it ends with in ASCII, which is how lines are counted.
ENCODINGS = ("utf-8", "ascii", "iso8859-1", "iso8859-15", "cp1252")
MOST_HEADS = 100  # lines before the first row
LARGEST_META = 1_000_000  # bytes
LONGEST_LINE = 1_000_000  # bytes
DWC, DC, DCTERMS, AC = (
    "http://rs.tdwg.org/dwc/terms/",
    "http://purl.org/dc/elements/1.1/",
    "http://purl.org/dc/terms/",
    "http://rs.tdwg.org/ac/terms/",
)
MULTIMEDIA = (
    "http://rs.gbif.org/terms/1.0/Multimedia",
    "http://rs.gbif.org/terms/1.0/Image",
    "http://rs.tdwg.org/ac/terms/Multimedia",
)
# For each thing wanted, the terms that may hold it, the best first.
OCCURRENCE = {
    "name": (DWC + "scientificName",),
    "authorship": (DWC + "scientificNameAuthorship",),
    "qualifier": (DWC + "identificationQualifier",),
    "basis": (DWC + "basisOfRecord",),
    "observer": (DWC + "recordedBy",),
    "day": (DWC + "eventDate",),
    "occurrence": (DWC + "occurrenceID",),
}
MEDIA = {
    "address": (AC + "accessURI", DCTERMS + "identifier", DC + "identifier"),
    "kind": (DCTERMS + "type", DC + "type"),
    "format": (DCTERMS + "format", DC + "format"),
    "licence": (
        DCTERMS + "license",
        DCTERMS + "rights",
        DC + "rights",
        "http://ns.adobe.com/xap/1.0/rights/UsageTerms",
    ),
    "creator": (DCTERMS + "creator", DC + "creator"),
    "holder": (DCTERMS + "rightsHolder", "http://ns.adobe.com/xap/1.0/rights/Owner"),
    "source": (DCTERMS + "references", DCTERMS + "source", DC + "source", AC + "furtherInformationURL"),
}
PRESSED = ("preservedspecimen", "fossilspecimen")


@dataclass(frozen=True)
class DarwinCore:
    """An archive with meta.xml, an occurrence core and a multimedia extension.

    ``kinds`` are the licences that are taken, as ``kind_of`` gives them.
    """

    tree: Tree
    fetcher: Fetcher
    kinds: tuple[str, ...] = OPEN
    as_name: str = ""

    @property
    def title(self) -> str:
        return self.tree.title

    def offers(self) -> Iterator[Offered | Refusal]:
        """Every photo of the extension in its order; those under other licences are refused.

        Occurrences wait in a temporary database, so memory does not grow with the archive.
        Raises CollectionError where the archive cannot be read.
        """
        with tempfile.TemporaryDirectory(prefix="swardkey-") as name:
            folder = Path(name)
            core, media = self._parts(folder)
            with closing(sqlite3.connect(folder / "occurrences.db", isolation_level=None)) as occurrences:
                try:
                    _keep(core, folder, occurrences)
                    for number, (key, row) in enumerate(_rows(media, folder, "coreid", MEDIA), start=1):
                        if offer := self._offer(number, key, row, occurrences):
                            yield offer
                except (InvalidArchive, csv.Error, sqlite3.Error, LookupError, ValueError, TypeError) as error:
                    raise CollectionError(f"{self.title}: {_first_line(error)}; ask for the archive again") from None

    def _parts(self, folder: Path) -> tuple[DataFileDescriptor, DataFileDescriptor]:
        """The descriptions of the core and of the multimedia extension, their files put under names of ours."""
        with needed(self.tree, META) as path:
            text = _safe_xml(path, self.title)
        try:
            found = ArchiveDescriptor(text)
            for part in (found.core, *found.extensions):
                _check_form(part)
        except (InvalidArchive, LookupError, ValueError, TypeError, AttributeError, SyntaxError) as error:
            raise CollectionError(
                f"{self.title}: {META} describes no archive ({_fault_of_meta(error)}); ask for the archive again"
            ) from None
        if not (found.core.type or "").endswith("/Occurrence"):
            raise CollectionError(f"{self.title}: holds {found.core.type or 'nothing known'}; ask for occurrences")
        media = [part for part in found.extensions if part.type in MULTIMEDIA]
        if not media:
            raise CollectionError(f"{self.title}: has no multimedia extension; ask for the archive with its photos")
        for part, name in ((found.core, "core"), (media[0], "media")):
            self._bring(part, folder / name)
        return found.core, media[0]

    def _bring(self, part: DataFileDescriptor, target: Path) -> None:
        name = str(part.file_location or "").strip()
        if not name or len(PurePosixPath(name).parts) != 1 or not self.tree.has(name):
            raise CollectionError(f"{self.title}: {META} names {name or 'no file'}, which is not in the archive")
        with needed(self.tree, name) as path:
            # Where cells may stand in quotes, any sign of an end ends a line.
            ends = "[\r\n]" if part.fields_enclosed_by else part.lines_terminated_by
            _check_lines(path, f"{self.title}/{name}", re.compile(ends.encode()))
            shutil.copyfile(path, target)
        part.file_location = target.name

    def _offer(self, number: int, key: str, row: dict[str, str], known: sqlite3.Connection) -> Offered | Refusal | None:
        """One row of the extension; None for sounds and films."""
        other = bool(row["kind"]) and not re.search("image|photo", row["kind"], re.I)
        if other or row["format"].casefold().startswith(("audio", "video")):
            return None
        where = f"row {number}: {row['address']}"
        found = known.execute("SELECT * FROM occurrence WHERE id = ?", (key,)).fetchone()
        if found is None:
            return Refusal(where, f"belongs to occurrence {key}, which is not in the archive")
        plant = dict(zip(("id", *OCCURRENCE), found, strict=True))
        if not row["address"]:
            return Refusal(f"row {number}", "gives no address of a photo")
        if fault := _fault(plant, row, self.kinds):
            return Refusal(where, fault)
        self.fetcher.agreed.add(host_of(row["address"]).casefold())
        holder = row["holder"]
        creator = row["creator"] or holder
        return Offered(
            file=row["address"],
            name=self.as_name or without_authors(plant["name"], plant["authorship"]),
            get=partial(self.fetcher.get, row["address"]),
            group=_group(plant),
            source=row["source"] or plant["occurrence"] or row["address"],
            creator=f"{creator} (rights: {holder})" if holder and holder != creator else creator,
            licence=licence_of(row["licence"]),
            note=row["address"],
            address=row["address"],
            scientific=True,
        )


def _check_form(part: DataFileDescriptor) -> None:
    """Raises InvalidArchive, or LookupError, for a table in a form that is not taken."""
    encoding = codecs.lookup(part.file_encoding).name
    if encoding not in ENCODINGS:
        raise InvalidArchive(f"encoding {encoding} is not taken")
    if part.lines_terminated_by not in ("\n", "\r\n", "\r") or len(part.fields_terminated_by) != 1:
        raise InvalidArchive("its cells or lines end in an unusual way")
    if len(part.fields_enclosed_by) > 1 or not 0 <= part.lines_to_ignore <= MOST_HEADS:
        raise InvalidArchive("its quotes or its heads are unusual")


def _fault(plant: dict[str, str], row: dict[str, str], kinds: tuple[str, ...]) -> str:
    """Why a photo is not taken, whatever it shows; "" if it may be."""
    licence = licence_of(row["licence"])
    if not row["licence"]:
        return "gives no licence"
    if not licence or kind_of(licence) not in kinds:
        return f"licence {licence or row['licence'][:80]} is not among {', '.join(kinds)}; see --licence"
    if plant["qualifier"]:
        return f"is named with {plant['qualifier'][:40]!r}, so not for certain"
    if plant["basis"].casefold().replace(" ", "").replace("_", "") in PRESSED:
        return "shows a preserved specimen, not a living plant"
    return "" if plant["name"].strip() else "has no scientific name"


def _group(plant: dict[str, str]) -> str:
    """The visit: who saw it on which day; else the occurrence, which is one plant."""
    day = re.match(r"\d{4}-\d{2}-\d{2}", plant["day"])
    if plant["observer"] and day:
        return f"{plant['observer'][:120]} {day[0]}"
    return f"occurrence {plant['occurrence'] or plant['id']}"


def _keep(core: DataFileDescriptor, folder: Path, occurrences: sqlite3.Connection) -> None:
    columns = ", ".join(f"{name} TEXT" for name in OCCURRENCE)
    occurrences.execute(f"CREATE TABLE occurrence (id TEXT PRIMARY KEY, {columns}) WITHOUT ROWID")
    marks = ", ".join("?" * (len(OCCURRENCE) + 1))
    occurrences.execute("BEGIN")
    occurrences.executemany(
        f"INSERT OR IGNORE INTO occurrence VALUES ({marks})",
        ((key, *row.values()) for key, row in _rows(core, folder, "id", OCCURRENCE)),
    )
    occurrences.execute("COMMIT")


def _rows(
    part: DataFileDescriptor, folder: Path, key: str, wanted: Mapping[str, tuple[str, ...]]
) -> Iterator[tuple[str, dict[str, str]]]:
    """Key and wanted values of each row; of several terms that may hold a value, the first that is filled in."""
    there = {name: [term for term in terms if term in part.terms] for name, terms in wanted.items()}
    terms = [key, *(term for found in there.values() for term in found)]
    with closing(CSVDataFile(str(folder), part)) as file:
        for cells in file.iter_terms(terms):
            values = dict(zip(terms[1:], cells[1:], strict=True))
            yield (
                cells[0],
                {name: next((v for term in found if (v := values[term].strip())), "") for name, found in there.items()},
            )


def _safe_xml(path: Path, title: str) -> str:
    """The text of meta.xml, after making sure that it declares no entities and is of ordinary size."""

    def refuse(*_: object) -> None:
        raise CollectionError(f"{title}: {META} declares a document type; such an archive is refused")

    if path.stat().st_size > LARGEST_META:
        raise CollectionError(f"{title}: {META} is over {LARGEST_META // 1_000_000} MB; such an archive is refused")
    data = path.read_bytes()
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(data, True)
        text = data.decode("utf-8-sig")
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise CollectionError(
            f"{title}: {META} is not XML in UTF-8 ({_first_line(error)}); ask for the archive again"
        ) from None
    # What parses the text next must not see another encoding declared, and needs the one that the standard implies.
    text = re.sub(r"^\s*<\?xml[^>]*\?>", "", text)
    return re.sub(r"<(core|extension)\b(?![^<>]*\bencoding=)", r'<\1 encoding="UTF-8"', text)


def _check_lines(path: Path, title: str, ends: re.Pattern[bytes]) -> None:
    """Refuse a file with a line so long that reading it would fill the memory. ``ends``: what ends a line."""
    with path.open("rb") as file:
        left = b""
        while chunk := file.read(LONGEST_LINE):
            *lines, left = ends.split(left + chunk)
            if max(map(len, (left, *lines))) > LONGEST_LINE:
                raise CollectionError(f"{title}: has a line of over {LONGEST_LINE} bytes; it is not a table")


def _fault_of_meta(error: Exception) -> str:
    """What is wrong with meta.xml, in words: only what the reader of archives says itself is meant for people."""
    if isinstance(error, InvalidArchive):
        return _first_line(error)
    if type(error) is LookupError:
        return "a table has an encoding that is not known"
    return "it has no core table, or does not say which file or which column holds what"


def _first_line(error: Exception) -> str:
    return str(error).split("\n")[0] or type(error).__name__
