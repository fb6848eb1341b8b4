"""How the active in a product is written: in any case and spelling, with or without its salt or ester."""

from __future__ import annotations

import re

# Ends of a name that labels leave away or add: halosulfuron for halosulfuron-methyl, 2,4-D amine for 2,4-D.
# The active is the same, and so are its group and what a lawn tolerates.
ENDS = (
    "methyl", "dimethyl", "ethyl", "butyl", "butotyl", "butoxyethyl", "meptyl", "ethylhexyl", "octanoate", "ester",
    "sodium", "potassium", "ammonium", "isopropylammonium", "amine", "dimethylamine", "isopropylamine", "salt",
)  # fmt: skip
ENDED = re.compile(rf"([ -]P)?([ -]+({'|'.join(ENDS)}))+$", re.IGNORECASE)


def base_name(name: str) -> str:
    """The name without its salt or ester, and with f for ph as in sulfate.

    >>> base_name("halosulfuron-methyl"), base_name("MCPA dimethylamine salt"), base_name("Iron sulphate")
    ('halosulfuron', 'MCPA', 'Iron sulfate')
    """
    return ENDED.sub("", re.sub("sulph", "sulf", name.strip(), flags=re.IGNORECASE))


def spelt_anyhow(name: str) -> str:
    """A pattern for a name within a text, whatever the blanks and dashes between its parts.

    >>> [bool(re.search(spelt_anyhow("2,4-D"), text)) for text in ("24D 625 g/L", "2 4-D", "2,4-DB")]
    [True, True, False]
    """
    parts = re.findall(r"[0-9]+|[A-Za-z]+", name)
    # "glyphosate-free" names none.
    return rf"(?<![0-9A-Za-z]){r'[^0-9A-Za-z]*'.join(parts)}(?![0-9A-Za-z]|[ -]free\b)"
