"""How the pages look: fonts that every machine has, one accent, and the same by day and by night."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import gradio as gr

HERE = Path(__file__).parent
STYLE = HERE / "page.css"
SCRIPT = (HERE / "page.js").read_text(encoding="utf-8")
INK, PAPER, ACCENT, ACCENT_DARK, LINE = "#17211c", "#ffffff", "#1d3d8f", "#142c69", "#c9cdc6"
# Phones on a dark setting show the same page: dark ink on white is what can be read in the sun.
HEAD = f"""<meta name="color-scheme" content="light">
<meta name="robots" content="noindex">
<script>{(HERE / "early.js").read_text(encoding="utf-8")}</script>"""


def theme() -> gr.themes.Base:
    """Nothing in it is fetched: only fonts of the system."""
    plain = gr.themes.Base(
        primary_hue="indigo",
        neutral_hue="stone",
        radius_size="sm",
        text_size="lg",
        font=["system-ui", "-apple-system", "Segoe UI", "Roboto", "sans-serif"],
        font_mono=["ui-monospace", "monospace"],
    )
    colours = {
        "body_background_fill": PAPER,
        "background_fill_primary": PAPER,
        "background_fill_secondary": PAPER,
        "block_background_fill": PAPER,
        "body_text_color": INK,
        "block_border_width": "0px",
        "border_color_primary": LINE,
        "button_primary_background_fill": ACCENT,
        "button_primary_background_fill_hover": ACCENT_DARK,
        "button_primary_text_color": "#ffffff",
        "button_secondary_background_fill": PAPER,
        "button_secondary_background_fill_hover": "#eef1f8",
        "button_secondary_text_color": ACCENT,
        "button_secondary_border_color": ACCENT,
        "button_border_width": "2px",
        "button_large_padding": "0.85rem 1.4rem",
        "button_large_radius": "6px",
        "loader_color": ACCENT,
    }
    return plain.set(**colours)


def options() -> dict[str, Any]:
    """The look, as launch takes it. HEAD comes by the guard, before anything of gradio; the style must come after."""
    # In the head as it is: gradio would rewrite the selectors.
    style = f"<style>{STYLE.read_text(encoding='utf-8')}</style>"
    return {"theme": theme(), "head": style, "footer_links": [], "favicon_path": HERE / "mark.svg"}
