"""What is kept of a photo: its upright pixels as a JPEG without any metadata."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from model.photo.sandbox import the_sandbox

LONGEST_SIDE = 1600  # px: four times what the photo model looks at
QUALITY = 95


def stored_jpeg(path: Path) -> bytes:
    """The JPEG that the collection keeps: upright, longest side at most LONGEST_SIDE, no EXIF, ICC, XMP or comment.

    The photo passes open_photo first, so its checks hold here too. Raises PhotoError, also for
    a photo in which nothing can be made out.
    """
    # A new image takes over the pixels and nothing else: not even a comment.
    bare = Image.fromarray(the_sandbox().whole(path, LONGEST_SIDE))
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, subsampling=0)
    return out.getvalue()
