"""Which phases a specimen is likely to hold, from what its cell was built of."""

from collections.abc import Iterable

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
) -> tuple[str, ...]:
    """Offer at most eight phases for a dissected iron electrode.

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
    """
    there = set(elements)
    wanted = [p for p, needs in LIKELY if not needs or needs & there]
    if rinsed:
        wanted = [p for p in wanted if p != "potassium-carbonate"]
    if standing_discharged:
        wanted.insert(3, "feroxyhyte")
    room = MOST - bool(standard)
    return (*wanted[:room], standard) if standard else tuple(wanted[:MOST])


def out_of_recipe(phases: Iterable[str], elements: Iterable[str]) -> list[str]:
    """Name phases that need an element which the recipe does not hold; none where no recipe is known."""
    there = set(elements)
    return [p for p in phases if there and p in NEEDS and NEEDS[p] not in there]


# A person may accept a result with these remarks only with a word on why.
ASK_WHY = frozenset(
    {"ANODE_MISMATCH", "BRINDLEY_OUT", "EXT_AMBIGUOUS_PHASE", "AMORPHOUS_NEGATIVE", "DIFFERS"}
)
