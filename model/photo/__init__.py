"""The photo model: decode, views, features, closed-form head, calibrated evidence.

What is named here is imported when it is first asked for: photos are opened in a moment, the
model takes seconds.
"""

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from model.photo.decode import Photo
    from model.photo.evidence import Calibration, Classifier, Evidence
    from model.photo.extract import Extractor
    from model.photo.head import Discriminant, Statistics, fit_statistics
    from model.photo.model import PhotoModel, load_model
    from model.photo.sandbox import open_photo
else:
    _FROM = {
        "Calibration": "evidence",
        "Classifier": "evidence",
        "Discriminant": "head",
        "Evidence": "evidence",
        "Extractor": "extract",
        "Photo": "decode",
        "PhotoModel": "model",
        "Statistics": "head",
        "fit_statistics": "head",
        "load_model": "model",
        "open_photo": "sandbox",
    }

    def __getattr__(name):
        if name not in _FROM:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        found = getattr(importlib.import_module(f"{__name__}.{_FROM[name]}"), name)
        globals()[name] = found
        return found


__all__ = [
    "Calibration",
    "Classifier",
    "Discriminant",
    "Evidence",
    "Extractor",
    "Photo",
    "PhotoModel",
    "Statistics",
    "fit_statistics",
    "load_model",
    "open_photo",
]
