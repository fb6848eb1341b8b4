"""A printed key in words, for the paper and the terminal."""

from __future__ import annotations

from app.present.block import Block, Paragraph, Section, Table
from app.present.finding import month_name
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey


def print_key(printed: PrintedKey, flora: Flora) -> None:
    """Print a key in the terminal."""
    # Only the terminal loads the library that it prints with.
    from app.present.console import print_blocks

    title = Paragraph((f"Key to lawn and garden weeds: {about(printed)}",), "strong")
    couplets = (_couplet(couplet, printed, flora) for couplet in printed.couplets)
    print_blocks((title, *how_to_read(printed), *couplets, *left_out(printed, flora)))


def about(printed: PrintedKey) -> str:
    """What the key is of, in a few words."""
    count = len(printed.species)
    if printed.month is None:
        return f"{count} plants, all year"
    return f"{count} plants that can be seen in {month_name(printed.month)}"


def how_to_read(printed: PrintedKey) -> tuple[Paragraph, ...]:
    """How to use the key and what it is worth."""
    found = printed.figures
    begin = (
        "Start at 1. Choose the lead of the two that fits, and go to its number until it gives a name. "
        "The number in brackets leads back."
    )
    length = (
        f"It takes {found['mean_depth']:g} couplets to a name on average and {found['worst_depth']} at most; "
        f"{found['couplets']} couplets lead to {found['reached']} of {found['species']} plants. Unlike the "
        "questions on the screen, it cannot recover from a wrong turn: where neither lead fits well, go back."
    )
    terms = (
        "In part: the plant varies and keys out in several places. Mostly: the leads hold for most plants only, so "
        "compare both names. Lengths within a tenth of a limit lead to the right name either way, except in couplets "
        "marked mostly."
    )
    lines = [begin, length, terms]
    if printed.month is not None and printed.out_of_season:
        name = month_name(printed.month)
        lines.append(f"Plants that cannot be seen in {name} are left out; they are listed at the end.")
    return tuple(Paragraph((line,)) for line in lines)


def left_out(printed: PrintedKey, flora: Flora) -> tuple[Section, ...]:
    """Which plants the key does not lead to, and why."""
    reasons = {"Left out, as nothing but the name is known": printed.names_only}
    if printed.month is not None:
        reasons = {f"Left out, as they cannot be seen in {month_name(printed.month)}": printed.out_of_season, **reasons}
    sections = []
    for title, species in reasons.items():
        plants = (flora.species[one] for one in species)
        names = "; ".join(f"{plant.common_name} ({plant.scientific_name})" for plant in plants)
        sections.append(Section(title, (Paragraph((names,), "small"),) if names else ()))
    return tuple(sections)


def number_of(couplet: Couplet) -> str:
    """The couplet's number, and the one that leads to it.

    >>> from model.flora import load_characters
    >>> number_of(Couplet(7, 3, load_characters()["milky_sap"], False, ()))
    '7 (3)'
    """
    return f"{couplet.number}" + (f" ({couplet.before})" if couplet.before is not None else "")


def ends(lead: Lead, printed: PrintedKey, flora: Flora) -> list[tuple[str, str, str]]:
    """The plants at an end: common name, whether only in part, scientific name."""
    plants = [flora.species[species] for species in lead.species]
    parts = [" (in part)" if len(printed.ends[species]) > 1 else "" for species in lead.species]
    return [(plant.common_name, part, plant.scientific_name) for plant, part in zip(plants, parts, strict=True)]


def not_separated(lead: Lead) -> str:
    """What is said of several plants at one end; "" of one."""
    if len(lead.species) < 2:
        return ""
    return f"Not separated here. {' '.join(lead.look_at) or 'Nothing on file separates these.'}"


def _couplet(couplet: Couplet, printed: PrintedKey, flora: Flora) -> Block:
    mostly = " (mostly)" if couplet.mostly else ""
    lines = []
    for letter, lead in zip("ab", couplet.leads, strict=True):
        names = " or ".join(f"{name}{part}, {scientific}" for name, part, scientific in ends(lead, printed, flora))
        end = ". ".join(filter(None, (names, not_separated(lead))))
        goes = f"go to {lead.couplet}" if lead.couplet is not None else end
        lines.append((f"    {letter}", f"{lead.text}: {goes}"))
    return Section(f"{number_of(couplet)}  {couplet.character.question}{mostly}", (Table(tuple(lines)),))
