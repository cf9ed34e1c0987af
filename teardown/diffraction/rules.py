"""Which phases a specimen is likely to hold, from what its cell was built of."""

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Literal

from teardown.science.crystallography.radiation import NAMES
from teardown.science.errors import Remark

MOST = 8

# (phase, elements of which one must be in the recipe; none: always likely), the likeliest first
LIKELY: tuple[tuple[str, frozenset[str]], ...] = (
    ("iron", frozenset()),
    ("spinel", frozenset()),
    ("iron-hydroxide", frozenset()),
    ("mackinawite", frozenset({"S"})),
    ("potassium-carbonate", frozenset()),
    ("bismuth", frozenset({"Bi"})),
    ("goethite", frozenset()),
    ("nickel", frozenset({"Ni"})),
    ("sphalerite", frozenset({"Zn"})),
    ("hematite", frozenset()),
    ("akaganeite", frozenset({"Cl"})),
    ("graphite", frozenset({"C"})),
)
# What a gas electrode of manganese oxide or nickel on carbon may hold (common practice, no source)
LIKELY_IN_AIR_ELECTRODE: tuple[tuple[str, frozenset[str]], ...] = (
    ("graphite", frozenset()),
    ("pyrolusite", frozenset({"Mn"})),
    ("nickel", frozenset()),
    ("potassium-carbonate", frozenset()),
    ("bunsenite", frozenset({"Ni"})),
    ("nickel-hydroxide", frozenset({"Ni"})),
    ("silver", frozenset({"Ag"})),
    ("kalicinite", frozenset()),
)
NEEDS = {
    "akaganeite": "Cl", "sylvite": "Cl", "green-rust-chloride": "Cl", "mackinawite": "S", "troilite": "S",
    "greigite": "S", "bismuth": "Bi", "bismite": "Bi", "bismuthinite": "Bi", "sphalerite": "Zn",
    "wurtzite": "Zn", "nickel": "Ni", "bunsenite": "Ni", "nickel-hydroxide": "Ni", "pyrolusite": "Mn",
    "silver": "Ag", "copper": "Cu",
}  # fmt: skip


def likely_phases(
    elements: Iterable[str],
    *,
    rinsed: bool | None = None,
    standard: str = "",
    standing_discharged: bool = False,
    air_electrode: bool = False,
) -> tuple[str, ...]:
    """Offer at most eight phases for a dissected electrode.

    Parameters
    ----------
    elements : iterable of str
        Symbols of what the recipe holds beside iron and oxygen.
    rinsed : bool or None
        True leaves the salts of the electrolyte out.
    standard : str
        Key of an internal standard; it takes a place.
    standing_discharged : bool
        A discharged electrode may hold poorly ordered FeOOH.
    air_electrode : bool
        The specimen is of the air electrode, not of the iron electrode.
    """
    there = set(elements)
    known = LIKELY_IN_AIR_ELECTRODE if air_electrode else LIKELY
    wanted = [p for p, needs in known if not needs or needs & there]
    if rinsed:
        wanted = [p for p in wanted if p != "potassium-carbonate"]
    if standing_discharged and not air_electrode:
        wanted.insert(3, "feroxyhyte")
    room = MOST - bool(standard)
    return (*wanted[:room], standard) if standard else tuple(wanted[:MOST])


def out_of_recipe(phases: Iterable[str], elements: Iterable[str]) -> list[str]:
    """Name phases that need an element which the recipe does not hold; none where no recipe is known."""
    there = set(elements)
    return [p for p in phases if there and p in NEEDS and NEEDS[p] not in there]


# A person may accept a result with these remarks only with a word on why.
ASK_WHY = frozenset(
    {
        "ANODE_MISMATCH",
        "ANGLES_ARE_THETA",
        "RADIATION_UNKNOWN",
        "STRETCH_OF_ONE_VALUE",
        "TUBE_DIFFERS",
        "SLITS_MISMATCH",
        "BRINDLEY_OUT",
        "EXT_AMBIGUOUS_PHASE",
        "AMORPHOUS_NEGATIVE",
        "DIFFERS",
    }
)


def of_tube(kept: str, in_file: str | None, *, said: bool) -> Iterator[Remark]:
    """Remark on a tube that nobody named, or that the file names otherwise.

    Parameters
    ----------
    kept : str
        Key of the tube that the pattern is kept with.
    in_file : str or None
        What the header of the file hints at.
    said : bool
        Whether a person or an instrument named the tube.
    """
    if in_file is None and not said:
        yield Remark(
            "TUBE_ASSUMED",
            "warning",
            f"Neither form, instrument nor file names the tube: {NAMES[kept]} is assumed.",
            remedy="If it was another, bring the pattern again with its tube; shares depend on it.",
        )
    elif in_file is not None and in_file != kept:
        yield Remark(
            "TUBE_DIFFERS",
            "warning",
            f"The header of the file speaks of {NAMES[in_file]}, and the pattern is kept as {NAMES[kept]}.",
            remedy="Check which it was; bring the pattern again if the tube is wrong.",
        )


def standing_of(
    calibrated_on: dt.date | None, changed_on: dt.date | None, day: dt.date, days: int
) -> Literal["none", "changed", "old", "stands"]:
    """Say whether the calibration of an instrument holds on a day.

    Parameters
    ----------
    calibrated_on : date or None
        When the standard was scanned.
    changed_on : date or None
        When tube, optics or alignment were last changed; a scan of the same day is taken as made after it.
    day : date
        When the specimen was measured.
    days : int
        For how long a calibration is trusted, before and after its day.
    """
    if calibrated_on is None:
        return "none"
    if changed_on is not None and calibrated_on < changed_on <= day:
        return "changed"
    return "old" if abs((day - calibrated_on).days) > days else "stands"
