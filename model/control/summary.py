"""The summary of a plan: what to do now, with what, on what condition and until when; and what more, or later."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from model.control.case import Case
from model.control.facts import Seeding
from model.control.judge import MONTHS
from model.control.knowledge import Control
from model.control.option import JudgedOption
from model.control.year import after, next_month, starts
from model.text import listed

# The order in which a practitioner names what needs no herbicide.
FIRST = ("leave", "hand", "mow", "cover", "cultural")
AT_MOST = 2  # things to name in one line


def summarise(
    control: Control,
    case: Case,
    first: Mapping[str, Seeding],
    options: Sequence[JudgedOption],
    only: Sequence[JudgedOption] = (),
) -> tuple[str, ...]:
    """Two lines at most: "Now: ..." and "For more: ..." or "Later: ...".

    ``first``: by the species that are in seed. ``only``: what suits some of a shortlist.
    """
    now = [option for option in options if option.suited == "yes"]
    plain = sorted((o for o in now if not o.actives), key=lambda o: FIRST.index(o.method))
    # Control of the plants that are there comes before preventing the next ones.
    sprays = sorted((o for o in now if o.actives), key=lambda o: o.method == "pre_emergent")
    doing = [_seed_first(control, first)] if first else []
    seeding = any(said.no_seed is None for said in first.values())
    named = {o.method: o for o in reversed(plain)}  # one way to thicken the turf is enough
    if seeding and "leave" in named:
        # Taking off the seed goes against leaving the plant: it is one or the other.
        doing = [f"{named.pop('leave').short}, or {doing[0]}"]
    elif "leave" in named and "cultural" in named:
        # Where the plant may stay, feeding the grass comes before digging.
        named = {"cultural": named.pop("cultural"), "leave": named.pop("leave")}
    doing += [_doing(o, case.month, seeding) for o in reversed(named.values())][:AT_MOST]
    if not doing and (some := [o for o in only if o.suited == "yes" and o.method != "leave"]):
        one = min(some, key=lambda o: bool(o.actives))
        what = _with(control, case, one) if one.actives else _doing(one, case.month, seeding)
        doing = [f"for {_names(control, one.species)} only, {what}"]
    stay = [s for o in only if o.method == "leave" and o.suited == "yes" and not case.together for s in o.species]
    if stay:
        doing.insert(0, f"find out which it is, as {_names(control, stay)} may stay")
    if not doing and sprays:
        doing, sprays = [_with(control, case, sprays[0])], sprays[1:]
    line = f"Now: {'; '.join(doing)}." if doing else f"Nothing to do now: {_why_nothing(options)}"
    more = [f"For more: {_with(control, case, sprays[0])}."] if sprays else []
    return tuple(filter(None, (line, " ".join((*more, *_later(control, case, options, bool(sprays)))))))


def _names(control: Control, species: Iterable[str]) -> str:
    return listed([control.flora.species[one].common_name for one in species])


def _seed_first(control: Control, first: Mapping[str, Seeding]) -> str:
    """What comes first of the plants in seed; where none of them sets seed here, to check that it is one of them."""
    doubts = [said.no_seed for said in first.values() if said.no_seed is not None]
    if len(doubts) == len(first):
        return doubts[0]
    # Of plants that are in seed alone: another one's burrs are not there yet.
    seeding = [species for species, said in first.items() if said.no_seed is None]
    hazards = {hazard for species in seeding for hazard in control.treatments[species].hazards}
    return "take up the burrs first, in shoes" if "burrs" in hazards else "bag the seed heads first"


def _doing(option: JudgedOption, month: int, seeding: bool) -> str:
    """What to do, and until when; once the plant is in seed, "before it seeds" no longer applies."""
    if seeding:
        return option.short.split(" before ")[0].rstrip(",")
    return option.short + (_until(option, month) if option.method in ("hand", "mow") else "")


def _until(option: JudgedOption, month: int) -> str:
    """The last of its best months in a row; empty where it may be done at any time."""
    months = set(option.months)
    if month not in months or len(months) == 12:
        return ""
    last = month
    while after(last) in months:
        last = after(last)
    return f", until the end of {MONTHS[last]}"


def _with(control: Control, case: Case, option: JudgedOption) -> str:
    """A herbicide by name and group, how it is applied, until when, where, and that the label comes first."""
    how = {
        "pre_emergent": ", before seedlings come up",
        "wipe": ", wiped onto single plants",
        "non_selective": ", spot by spot",
    }
    where = ""
    if case.place == "lawn" and option.method != "wipe":
        where = f", on {control.lawns[case.lawn].name}"
        where += f" except {' and '.join(option.excepted)}" if option.excepted else ""
    return f"{option.mix_with_groups}{how.get(option.method, '')}{_until(option, case.month)}{where}; label first"


def _why_nothing(options: Sequence[JudgedOption]) -> str:
    """Why there is nothing to do."""
    hand = [option for option in options if option.method == "hand" and option.against]
    waiting = [*hand, *(option for option in options if option.suited == "wait")]
    text = waiting[0].against[0].text if waiting else "nothing on file suits this place."
    return text[:1].lower() + text[1:]


def _later(control: Control, case: Case, options: Sequence[JudgedOption], sprayed: bool) -> Iterable[str]:
    """What waits for its season, soonest first; and what waits for the label or another condition."""
    waiting = [o for o in options if o.suited == "wait" and (o.actives or not _too_late(o))]
    seasonal = [o for o in waiting if o.months and {reason.factor for reason in o.against} <= {"season", "stage"}]
    soon = sorted(seasonal, key=lambda o: _months_off(o, case.month))[:AT_MOST]
    if soon:
        yield f"Later: {'; '.join(_from_when(o, case.month) for o in soon)}."
    if sprayed or any(option.actives for option in soon):
        return
    open_ones = [o for o in waiting if o.actives and o not in seasonal and not _too_late(o)]
    if open_ones:
        soonest = min(open_ones, key=lambda o: 0 if case.month in o.months else _months_off(o, case.month))
        what = soonest.mix_with_groups if case.month in soonest.months else _from_when(soonest, case.month)
        yield f"Only once {_condition(control, case, soonest)}: {what}."


def _months_off(option: JudgedOption, month: int) -> int:
    following = next_month(option.months, month)
    return 13 if following is None else (following - month - 1) % 12 + 1


def _too_late(option: JudgedOption) -> bool:
    return any(reason.factor == "stage" for reason in option.against)


def _from_when(option: JudgedOption, month: int) -> str:
    what = option.mix_with_groups if option.actives else option.short
    following = next_month(option.months, month)
    if _too_late(option) and following is not None:
        # The plant is past that stage: wait for the next season.
        following = min(starts(option.months), key=lambda m: (m - month - 1) % 12, default=following)
    if following is None or len(option.months) == 12:
        return what
    return f"{what} from {'next ' if following == month else ''}{MONTHS[following]}"


def _condition(control: Control, case: Case, option: JudgedOption) -> str:
    """What must be settled first, in a few words."""
    lawn = control.lawns[case.lawn].name
    water = ["the label's distance to water is kept"] if "pond" in case.near else []
    bees = ["its flowers are mown off"] if "bees" in case.near and option.use.blooming else []
    words = {
        "registration": "a registered product is found",
        "lawn": "the grass is known and on the label" if case.lawn == "unknown" else f"the label names {lawn}",
        "near": " and ".join((*water, *bees)),
        "law": "the state's ban is over",
        "place": "the grass is known",
    }
    factors = dict.fromkeys(reason.factor for reason in option.against)
    return " and ".join(words[factor] for factor in factors if factor in words) or (
        "each is in its season" if case.together else "you know which it is"  # no month suits them all
    )
