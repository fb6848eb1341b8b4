"""All line drawings on one page: ``python -m training.drawn.line.sheet OUT.html``."""

from __future__ import annotations

import sys
from pathlib import Path
from xml.sax.saxutils import escape

from model.errors import SwardkeyError
from model.flora.load import load_characters
from training.drawn.line.states import draw_ruler, draw_state, draw_visible
from training.drawn.line.stored import VISIBLE, drawings
from training.durable import replace_file

STYLE = """
:root { color-scheme: light dark; }
body { font: 16px/1.35 system-ui, sans-serif; margin: 12px; color: #16201a; background: #fff; }
h2 { font-size: 16px; margin: 20px 0 6px; }
h2 small { font-weight: normal; }
div { display: grid; grid-template-columns: repeat(auto-fill, minmax(104px, 1fr)); gap: 10px; max-width: 1240px; }
figure { margin: 0; padding: 4px; border: 1px solid #8888; border-radius: 6px; }
figure svg { display: block; width: 96px; height: 96px; margin: auto; }
figcaption { font-size: 12px; }
@media (prefers-color-scheme: dark) { body { color: #e9efe9; background: #14181a; } }
"""


def line_sheet() -> str:
    """The page: characters in their order, each with its drawings and the words of its states; then visible parts."""
    parts = []
    for character in load_characters().values():
        parts.append(f"<h2>{escape(character.question)} <small>{escape(character.id)}</small></h2><div>")
        if character.kind == "choice":
            for state, words in character.states.items():
                parts.append(
                    f"<figure>{draw_state(character.id, state)}<figcaption>{escape(words)}</figcaption></figure>"
                )
        else:
            unit = escape(character.unit or character.kind)
            parts.append(f"<figure>{draw_ruler(character.id)}<figcaption>{unit}</figcaption></figure>")
        parts.append("</div>")
    parts.append("<h2>What can be seen or reached</h2><div>")
    for part in drawings().get(VISIBLE, {}):
        parts.append(f"<figure>{draw_visible(part)}<figcaption>{escape(part)}</figcaption></figure>")
    parts.append("</div>")
    head = '<meta charset="utf-8"><meta name="viewport" content="width=device-width">'
    head += f"<title>Line drawings</title><style>{STYLE}</style>"
    return f'<!doctype html><html lang="en">{head}{"".join(parts)}</html>'


def main(arguments: list[str]) -> int:
    """Write the sheet; exit status 2 where it cannot be written."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m training.drawn.line.sheet OUT.html\n")
        return 2
    try:
        page = line_sheet()
        replace_file(Path(arguments[0]), page.encode())
    except (SwardkeyError, OSError) as error:
        sys.stderr.write(f"{arguments[0]}: {error}\n")
        return 2
    sys.stdout.write(f"{page.count('<svg')} drawings, {len(page) // 1000} kB\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
