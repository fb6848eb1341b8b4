"""How the pages look: fonts that every machine has, one accent, and the same by day and by night."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import gradio as gr

# What the framework puts into the head of each page: previews of links to itself.
PREVIEW = re.compile(rb'<meta\s+(?:property="og:|name="twitter:)[^>]*>\s*')
# What is seen until our own page is there, in place of the framework's sign.
FIRST = (
    b"<title>swardkey</title><style>gradio-app:not(:has(.sk)) { visibility: hidden; height: 0; } "
    b"body:not(:has(.sk))::before { content: 'swardkey'; font: 700 1.6rem Charter, Georgia, serif; color: #17211c; "
    b"margin: 1rem max(1.5rem, 50vw - 33.5rem); } html body { background: #fff; }</style>"
)
HERE = Path(__file__).parent
SCRIPT = (HERE / "page.js").read_text(encoding="utf-8")
LANGUAGE = 'document.documentElement.lang = "en-AU";'


def our_own(page: bytes) -> bytes:
    """A page of the framework without its previews, with a title and a first sight of ours."""
    return PREVIEW.sub(b"", page).replace(b"</head>", FIRST + b"</head>", 1)


def appearance() -> dict[str, Any]:
    """The look, as mount_gradio_app takes it."""
    # As an element of the head: given as ``css``, gradio would rewrite the selectors.
    style = f"<style>{(HERE / 'page.css').read_text(encoding='utf-8')}</style>"
    # Phones on a dark setting show the same page: dark ink on white is what can be read in the sun.
    head = '<meta name="color-scheme" content="light"><meta name="robots" content="noindex">'
    # Only fonts of the system, so that none is fetched.
    fonts = gr.themes.Base(font=["system-ui", "Segoe UI", "Roboto", "sans-serif"], font_mono=["ui-monospace"])
    return {
        "theme": fonts,
        "head": head + style,
        "js": LANGUAGE,
        "footer_links": [],
        "favicon_path": str(HERE / "mark.svg"),
    }
