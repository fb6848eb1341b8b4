"""What is brought in once the first page is there: libraries first, one after the other, then what they load."""

from __future__ import annotations

import contextlib
import tempfile
from concurrent.futures import ThreadPoolExecutor
from importlib import import_module
from pathlib import Path

from PIL import Image

from app.services.home import fault_file
from app.web.context import Context
from model.errors import SwardkeyError

# All that a handler would else bring in itself, beside others that do the same.
BROUGHT_IN = (
    "app.services.photo_model",
    "model.photo.model",
    "model.photo.extract",
    "training.audit.quality",
    "training.audit.settings",
    "training.audit.sheet",
    "training.collection.confirmed",
    "model.photo.stored",
    "training.drawn",
    "app.commands.judge_spraying",
    "app.figures.spray_hours",
    "model.spray",
    "model.mix.unit",
    "app.services.visit_papers",
    "app.papers.advice_sheet",
    "app.papers.job_sheet",
    "app.present.naming",
    "app.papers.record_sheet",
    "app.papers.key_sheet",
    "app.papers.csv_table",
    "app.papers.follow_ups",
    "app.papers.darwin_core",
    "model.printed_key",
    "app.commands.check_photos",
    "app.web.model_figures",
    "pandas",  # gradio does with it what it tells nobody
)


def warm_up(context: Context) -> None:
    """Bring the libraries in, let the visitors go on, and load what the first photo, plan and sum would wait for."""
    try:
        bring_in()
    except Exception:  # it comes again, and is told, where it is needed
        import traceback

        fault_file().write_text(traceback.format_exc(), encoding="utf-8")
    finally:
        context.ready.set()
    load(context)


def bring_in() -> None:
    """Import all that the pages need."""
    for name in BROUGHT_IN:
        import_module(name)


def load(context: Context) -> None:
    """Start the decoders, load the photo model, the advice and the units."""
    from app.services.photo_model import model_in_charge
    from model.mix.unit import registry
    from model.photo import open_photo
    from training.audit.settings import load_settings

    with contextlib.suppress(SwardkeyError, OSError):  # it is told where it matters, at the photo
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder, ThreadPoolExecutor(2) as two:
            # The first picture costs seconds more than those after it: let it be one of nobody's.
            nothing = Path(folder) / "nothing.png"
            Image.effect_noise((256, 256), 40).save(nothing)
            photos = list(two.map(open_photo, (nothing, nothing)))
        model_in_charge().extractor.features(photos[0])
        load_settings()
    with contextlib.suppress(SwardkeyError):
        assert context.control is not None
    registry()
