"""What is handed out besides the pages: photos, line drawings, papers. Only by known names."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from app.figures.line_drawings import line_drawing
from app.present.block import capital
from app.records import open_records
from app.services.collection import own_collection
from app.services.plant_photos import shown_file
from app.web import backups, key_page
from app.web.context import Context
from app.web.draft import ID
from app.web.draft_photos import THUMB, THUMB_QUALITY, photo_file
from app.web.frame import for_pages, month_in, row_number
from app.web.new_photos import pending, waiting_folder
from app.web.paper_files import PAPERS, WHOLE, visit_paper_titles
from app.web.request_filter import NOTHING_HERE
from app.web.sender import request_file
from model.errors import SwardkeyError

CSV, PDF, SVG = "text/csv; charset=utf-8", "application/pdf", "image/svg+xml"
DAY = {"cache-control": "private, max-age=86400"}
Answer = Callable[[Context, Request], Response | None]


def routes(context: Context) -> list[Route]:
    """Addresses of files. One that leads to nothing is not there; what cannot be made is one sentence."""

    def route(path: str, answer: Answer) -> Route:
        def answered(request: Request) -> Response:
            context.wait_until_ready()
            try:
                found = answer(context, request)
            except SwardkeyError as error:
                return PlainTextResponse(for_pages(str(error)), 409)
            return found or PlainTextResponse(NOTHING_HERE, 404)

        return Route(path, answered)

    return [route(path, answer) for path, answer in ADDRESSES.items()]


def _photo(context: Context, request: Request) -> Response | None:
    """A photo of a draft, to whoever knows the draft's id."""
    plant = request.path_params["plant"]
    file = photo_file(context.drafts.photos(plant), request.path_params["name"]) if ID.fullmatch(plant) else None
    return _jpeg(file.read_bytes() if file is not None else None)


def _figure(context: Context, request: Request) -> Response | None:
    """A line drawing of one state of a character."""
    drawing = line_drawing(request.path_params["character"], request.path_params["state"])
    return Response(drawing.svg, media_type=SVG, headers=DAY) if drawing.svg else None


def _kept(context: Context, request: Request) -> Response | None:
    """A small copy of a photo in the records."""
    with open_records() as records:
        try:
            file = records.photo_file(request.path_params["sha256"])
        except SwardkeyError:
            return None
        return _jpeg(_small(file))


def _waiting(context: Context, request: Request) -> Response | None:
    """A small copy of a photo that has no name yet."""
    token, name = request.path_params["token"], request.path_params["name"]
    known = name in pending({"pending": token})
    return _jpeg(_small(waiting_folder(token) / name)) if known else None


def _collected(context: Context, request: Request) -> Response | None:
    """A small copy of a photo in the collection."""
    name = request.path_params["photo"]
    if (file := shown_file(name)) is not None:
        return _jpeg(_small(file))
    collection = own_collection()
    known = name in {photo.name for photo in collection.photos()}
    return _jpeg(_small(collection.file_of(name))) if known else None


def _paper(context: Context, request: Request) -> Response | None:
    kind = request.path_params["kind"]
    draft = context.drafts.read(request.path_params["plant"])
    return _saved(PAPERS[kind](context, draft), f"{kind}.pdf") if draft is not None and kind in PAPERS else None


def _request(context: Context, request: Request) -> Response | None:
    """The page for whoever has the plant: to be saved and sent on, not to be opened from here."""
    draft = context.drafts.read(request.path_params["plant"])
    return _saved(request_file(context, draft), "questions.html", "application/octet-stream") if draft else None


def _visit(context: Context, request: Request) -> Response | None:
    from app.services.paper_making import paper_of_visit  # here and below, since the pages start without it

    kind = request.path_params["kind"]
    if kind not in visit_paper_titles():
        return None
    number = row_number(request.path_params["visit"], "visit")
    shown = request.query_params.get("show") == "yes"
    return _saved(paper_of_visit(kind, number, key=context.key), f"{kind}-{number}.pdf", shown=shown)


def _treatment(context: Context, request: Request) -> Response:
    from app.services.paper_making import record_of_treatment

    number = row_number(request.path_params["treatment"], "treatment")
    return _saved(record_of_treatment(number), f"record-{number}.pdf")


def _whole(context: Context, request: Request) -> Response | None:
    """A table or the calendar of all records."""
    from app.services.paper_making import calendar, table

    name = request.path_params["name"]
    if name == "follow-ups.ics":
        return _saved(calendar()[0], name, "text/calendar; charset=utf-8")
    return _saved(table(name.removesuffix(".csv")), name, CSV) if name in WHOLE else None


def _shared(context: Context, request: Request) -> Response:
    """Confirmed findings for open portals, or the sentence that says why there are none."""
    from app.services.paper_making import shared_findings

    sent = request.query_params
    ending, kind = (".csv", CSV) if sent.get("as") == "csv" else (".zip", "application/zip")
    places, names = sent.get("places", ""), sent.get("names") == "yes"
    decimals = int(places) if places.isascii() and places.isdigit() else None
    try:
        data = shared_findings(ending, sent.get("by", ""), sent.get("licence", ""), decimals, names, key=context.key)
    except SwardkeyError as error:
        return PlainTextResponse(f"{capital(re.sub(r'^--[a-z]+[^:]*: ', '', str(error)))}.", 409)
    return _saved(data, f"darwin-core{ending}", kind)


def _backup(context: Context, request: Request) -> Response:
    """A backup, as it lies in its folder: it may be large."""
    file = backups.file_of(request.path_params["name"])
    return FileResponse(file, media_type="application/zip", filename=file.name, headers={"cache-control": "no-store"})


def _key(context: Context, request: Request) -> Response:
    month = month_in(request.query_params.get("month", ""))
    return _saved(key_page.pdf(context, month), f"key-{month or 'year'}.pdf")


ADDRESSES: dict[str, Answer] = {
    "/photo/{plant}/{name}": _photo,
    "/figure/{character}/{state}.svg": _figure,
    "/kept/{sha256}.jpg": _kept,
    "/waiting/{token}/{name}": _waiting,
    "/collected/{photo:path}": _collected,
    "/paper/visit/{visit}/{kind}": _visit,
    "/paper/treatment/{treatment}": _treatment,
    "/paper/all/{name}": _whole,
    "/paper/shared": _shared,
    "/paper/key": _key,
    "/paper/{plant}/questions.html": _request,
    "/paper/backup/{name}": _backup,
    "/paper/{plant}/{kind}": _paper,
}


def _jpeg(data: bytes | None) -> Response | None:
    return Response(data, media_type="image/jpeg", headers=DAY) if data is not None else None


def _saved(data: bytes, name: str, media_type: str = PDF, shown: bool = False) -> Response:
    """A file that the browser saves, or shows, so that it can be printed."""
    how = "inline" if shown else "attachment"
    headers = {"content-disposition": f'{how}; filename="swardkey-{name}"', "cache-control": "no-store"}
    return Response(data, media_type=media_type, headers=headers)


def _small(file: Path) -> bytes | None:
    """A small upright copy without metadata; None where it cannot be read."""
    from model.photo.thumbnail import jpeg_thumbnail  # loaded while the first page is already there

    return jpeg_thumbnail(file, THUMB, THUMB_QUALITY)
