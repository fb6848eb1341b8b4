"""The few files that are handed out besides the pages: a plant's own photos, and drawings of the flora."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from threading import Lock

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from app.records import open_records
from app.web import learning_page as learning
from app.web.context import Context
from app.web.paper_files import KINDS, PAPERS, PDF, WHOLE, of_all, of_treatment, of_visit, printed_key, shared
from app.web.shots import THUMB, photo_file
from model.errors import SwardkeyError

SIDE = 256  # px of a drawing
_drawing = Lock()
_drawn: dict[str, bytes] = {}  # by species: about 15 kB each
KEEP = {"cache-control": "private, max-age=86400"}


class Files:
    """The answers to addresses that are no pages. Whatever is asked for, only what is known by name is given."""

    def __init__(self, context: Context) -> None:
        self.context = context

    def photo(self, request: Request) -> Response:
        """A photo of a draft, to who knows the draft's id."""
        try:
            folder = self.context.drafts.photos(request.path_params["plant"])
        except SwardkeyError:
            return _jpeg(None)
        found = photo_file(folder, request.path_params["name"])
        return _jpeg(found.read_bytes() if found is not None else None)

    def drawn(self, request: Request) -> Response:
        """A drawing of a species."""
        species = request.path_params["name"]
        return _jpeg(drawing_of(self.context, species) if species in self.context.key.flora.species else None)

    def kept(self, request: Request) -> Response:
        """A small copy of a photo in the records."""
        try:
            with open_records() as records:
                return _jpeg(_small(records.photo_file(request.path_params["sha256"])))
        except SwardkeyError:
            return _jpeg(None)

    def waiting(self, request: Request) -> Response:
        """A small copy of a photo that waits to be told what it shows."""
        token, name = request.path_params["token"], request.path_params["name"]
        known = name in learning.pending({"pending": token})
        return _jpeg(_small(learning.waiting_folder(token) / name) if known else None)

    def collected(self, request: Request) -> Response:
        """A small copy of a photo in the collection."""
        collection, name = learning.own_collection(), request.path_params["photo"]
        known = name in {photo.name for photo in collection.photos()}
        return _jpeg(_small(collection.file_of(name)) if known else None)

    def paper(self, request: Request) -> Response:
        """A paper of a draft."""
        kind, plant = request.path_params["kind"], request.path_params["plant"]

        def make() -> bytes | None:
            draft = self.context.drafts.read(plant)
            return PAPERS[kind](self.context, draft) if draft is not None and kind in PAPERS else None

        return _made(make, kind)

    def of_visit(self, request: Request) -> Response:
        """A paper of a visit."""
        number, kind = request.path_params["visit"], request.path_params["kind"]
        if kind not in KINDS:
            return _pdf(None, kind)
        return _made(lambda: of_visit(self.context, number, kind), f"{kind}-{number}")

    def of_treatment(self, request: Request) -> Response:
        """The record of a treatment."""
        number = request.path_params["treatment"]
        return _made(lambda: of_treatment(number), f"record-{number}")

    def whole(self, request: Request) -> Response:
        """A table or the calendar of all records."""
        name = request.path_params["name"]
        if name not in WHOLE:
            return _pdf(None, name)
        data, kind = of_all(name)
        return Response(data, media_type=kind, headers=_as_file(f"swardkey-{name}"))

    def shared(self, request: Request) -> Response:
        """Confirmed findings for open portals, or the sentence that says why there are none."""
        ending = "csv" if request.query_params.get("as") == "csv" else "zip"
        try:
            data, kind = shared(self.context, ending, request.query_params)
        except SwardkeyError as error:
            told = re.sub(r"^--\w+[^:]*: ", "", str(error))
            return Response(f"{told[:1].upper()}{told[1:]}.", status_code=409, media_type="text/plain")
        return Response(data, media_type=kind, headers=_as_file(f"swardkey-darwin-core.{ending}"))

    def key(self, request: Request) -> Response:
        """The printed key."""
        text = request.query_params.get("month", "")
        month = int(text) if text in {str(m) for m in range(1, 13)} else None
        return _pdf(printed_key(self.context, month), f"key-{month or 'year'}")


def routes(context: Context) -> list[Route]:
    """What is answered besides the pages."""
    files = Files(context)

    def ready(answer: Callable[[Request], Response]) -> Callable[[Request], Response]:
        def answered(request: Request) -> Response:
            context.wait_until_ready()
            return answer(request)

        return answered

    return [
        Route("/photo/{plant}/{name}", ready(files.photo)),
        Route("/drawn/{name}.jpg", ready(files.drawn)),
        Route("/kept/{sha256}.jpg", ready(files.kept)),
        Route("/waiting/{token}/{name}", ready(files.waiting)),
        Route("/collected/{photo:path}", ready(files.collected)),
        Route("/paper/visit/{visit:int}/{kind}", ready(files.of_visit)),
        Route("/paper/treatment/{treatment:int}", ready(files.of_treatment)),
        Route("/paper/all/{name}", ready(files.whole)),
        Route("/paper/shared", ready(files.shared)),
        Route("/paper/key", ready(files.key)),
        Route("/paper/{plant}/{kind}", ready(files.paper)),
    ]


def _small(file: Path) -> bytes | None:
    """A small upright copy without metadata; None where it cannot be read."""
    from training.audit.sheet import thumbnail

    image = thumbnail(file, THUMB)
    if image is None:
        return None
    out = io.BytesIO()
    image.save(out, "JPEG", quality=82)
    return out.getvalue()


def _made(make: Callable[[], bytes | None], name: str) -> Response:
    """A paper, or the sentence that says why there is none."""
    try:
        return _pdf(make(), name)
    except SwardkeyError as error:
        return Response(str(error), status_code=409, media_type="text/plain")


def _as_file(name: str) -> dict[str, str]:
    return {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}


def _pdf(data: bytes | None, name: str) -> Response:
    if data is None:
        return Response("There is nothing at this address.", status_code=404, media_type="text/plain")
    return Response(data, media_type=PDF, headers=_as_file(f"swardkey-{name}.pdf"))


def _jpeg(data: bytes | None) -> Response:
    if data is None:
        return Response("There is nothing at this address.", status_code=404, media_type="text/plain")
    return Response(data, media_type="image/jpeg", headers=KEEP)


def drawing_of(context: Context, species: str) -> bytes:
    """A species drawn from its traits, in flower, as JPEG; one at a time, so that the pages stay quick."""
    with _drawing:
        if species not in _drawn:
            from app.services.drawing import draw_species

            out = io.BytesIO()
            _, _, picture = draw_species(context.key.flora, species, 1, "flowering", "turf", False, SIDE)
            picture.save(out, "JPEG", quality=86)
            _drawn[species] = out.getvalue()
        return _drawn[species]
