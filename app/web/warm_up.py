"""What is loaded once the first page is there: libraries first, one after the other, then what they read."""

from __future__ import annotations

import contextlib
import tempfile
from concurrent.futures import ThreadPoolExecutor
from importlib import import_module
from pathlib import Path

from PIL import Image

from app.services.photo_model import active_photo_model
from app.web.context import Context
from app.web.faults import write_fault
from model.errors import SwardkeyError
from model.photo.sandbox import open_photo

# What takes seconds and is therefore imported where it is used. Here it is imported first, by one thread: two that
# import what imports each other end in a fault.
SLOW = (
    "model.photo.extract",
    "model.mix.unit",
    "training.audit.quality",
    "training.audit.sheet",
    "training.collection.confirmed",
    "app.figures.spray_hours",
    "app.papers.advice_sheet",
    "app.papers.job_sheet",
    "app.papers.record_sheet",
    "app.papers.key_sheet",
    "app.papers.darwin_core",
    "app.papers.follow_ups",
)


def warm_up(context: Context) -> None:
    """Import the libraries, let the visitors go on, and load what the first photo, plan and sum would wait for."""
    try:
        for name in SLOW:
            import_module(name)
    except Exception as error:  # it comes again where it is needed, and is reported there
        write_fault(error)
    finally:
        context.ready.set()
    load(context)


def load(context: Context) -> None:
    """Start the decoders, load the photo model, the advice and the units."""
    from model.mix.unit import registry
    from training.audit.settings import load_settings

    with contextlib.suppress(SwardkeyError, OSError):  # reported where it matters, at the photo
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder, ThreadPoolExecutor(2) as two:
            # The first picture costs seconds more than those after it: let it be nobody's.
            nothing = Path(folder) / "nothing.png"
            Image.effect_noise((256, 256), 40).save(nothing)
            photos = list(two.map(open_photo, (nothing, nothing)))
        active_photo_model().extractor.features(photos[0])
        load_settings()
    with contextlib.suppress(SwardkeyError):
        assert context.control is not None
    registry()
