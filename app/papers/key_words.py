"""What stands around the couplets of a printed key, in words: shared by the paper and the terminal."""

from __future__ import annotations

from app.present.finding import month_name
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey


def about(printed: PrintedKey) -> str:
    """What the key is of, in a few words."""
    count = len(printed.species)
    if printed.month is None:
        return f"{count} plants, all year"
    return f"{count} plants that are to be seen in {month_name(printed.month)}"


def how_to_read(printed: PrintedKey) -> list[str]:
    """How to use the key and what it is worth, in sentences."""
    found = printed.figures
    lines = [
        (
            "Begin at 1. Of the two leads choose the one that fits, and go on to its number until a name stands there. "
            "The number in brackets leads back."
        ),
        (
            f"It takes {found['mean_depth']:g} couplets to a name on average and {found['worst_depth']} at most; "
            f"{found['couplets']} couplets lead to {found['reached']} of {found['species']} plants. Unlike the "
            "questions on the screen, a wrong turn is not forgiven here: where neither lead fits well, go back."
        ),
        (
            "In part: the plant varies and stands in several places. Mostly: the leads hold for most plants only, so "
            "compare both names. Lengths within a tenth of a limit lead to the right name either way, but for couplets "
            "marked mostly."
        ),
    ]
    if printed.month is not None and printed.out_of_season:
        name = month_name(printed.month)
        lines.append(f"Plants that are not to be seen in {name} are left out; they are named at the end.")
    return lines


def left_out(printed: PrintedKey, flora: Flora) -> list[tuple[str, list[str]]]:
    """Whom the key does not lead to and why: a title, and the names."""
    names = {s: f"{plant.common_name} ({plant.scientific_name})" for s, plant in flora.species.items()}
    parts = []
    if printed.out_of_season and printed.month is not None:
        title = f"Left out, as not to be seen in {month_name(printed.month)}"
        parts.append((title, [names[s] for s in printed.out_of_season]))
    if printed.names_only:
        parts.append(("Left out, as nothing but the name is known", [names[s] for s in printed.names_only]))
    return parts


def number_of(couplet: Couplet) -> str:
    """The couplet's number, and the one that leads to it.

    >>> from model.flora import load_characters
    >>> number_of(Couplet(7, 3, load_characters()["milky_sap"], False, ()))
    '7 (3)'
    """
    return f"{couplet.number}" + (f" ({couplet.before})" if couplet.before is not None else "")


def end_words(lead: Lead, printed: PrintedKey, flora: Flora) -> str:
    """The names at an end, and what to look at where there are several."""
    names = []
    for species in lead.species:
        plant = flora.species[species]
        part = " (in part)" if len(printed.ends[species]) > 1 else ""
        names.append(f"{plant.common_name}{part}, {plant.scientific_name}")
    told = f". {not_parted(lead)}" if len(names) > 1 else ""
    return " or ".join(names) + told


def not_parted(lead: Lead) -> str:
    """What is said of several plants at one end."""
    return f"Not separated here. {' '.join(lead.look_at) or 'Nothing on file separates these.'}"
