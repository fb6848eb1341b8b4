"""How the pages look: fonts that every machine has, one accent, and the same by day and by night."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import gradio as gr

HERE = Path(__file__).parent
SCRIPT = (HERE / "page.js").read_text(encoding="utf-8")
LANGUAGE = 'document.documentElement.lang = "en-AU";'


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
