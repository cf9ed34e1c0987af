"""Pure rules of micrographs: whose levels made a number, in words; which test lines may be laid."""

from collections.abc import Iterable

SOURCES = {
    "automatic": "found in the picture",
    "prior": "oxide assumed, none found to show its grey",
    "pinned": "pinned for the session",
    "manual": "set by hand",
    "trained": "trained by strokes",
}
# sets of test lines for a count of crossings, the first where nobody chose
LINE_SETS = {
    "turned": "test lines in four directions, turned by chance",
    "horizontal": "test lines along the rows",
    "vertical": "test lines along the columns",
    "diagonal": "test lines along both diagonals",
}
# quantities in which oxide that came after the cell's life would count as the cell's
COVERAGE = frozenset({"oxide_coverage", "wetted_oxide_share"})
# who made the classes by hand is said wherever a number stands; the others are the method's own
BY_A_PERSON = {"manual": "levels set by hand", "trained": "trained by strokes"}


def by_a_person(sources: Iterable[str]) -> str:
    """Say that a person set the levels or trained the classes; nothing where the method found them.

    >>> by_a_person(["automatic", "manual"]), by_a_person(["pinned"])
    ('levels set by hand', '')
    """
    return ", ".join(words for key, words in BY_A_PERSON.items() if key in set(sources))
