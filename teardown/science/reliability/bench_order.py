"""In which order cells that wait should be opened, and why each stands where it stands."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256


@dataclass(frozen=True, slots=True)
class Waiting:
    """A cell that waits: code, recipe, days since its test ended, and why it keeps badly ("" if not)."""

    code: str
    recipe: str
    days: float
    perishes: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the order. ``opened`` is how many cells of the recipe were opened before this one would be.

    ``drawn`` tells that the place came by the balanced draw, so that rates may rest on it; a cell pulled
    forward because it keeps badly is not drawn.
    """

    number: int
    cell: Waiting
    opened: int
    drawn: bool


def order(cells: Iterable[Waiting], opened: dict[str, int]) -> tuple[Place, ...]:
    """Propose an order: what keeps badly first, then recipes in balance, at random within a recipe.

    The next place goes to the recipe of which the fewest cells were opened; of recipes that are even, to
    the one whose cells have waited longest. The draw within a recipe comes from the cell's code, so it is
    the same whenever it is asked for.

    Parameters
    ----------
    cells : iterable of Waiting
    opened : dict of str to int
        For each recipe, how many of its cells have been opened so far.
    """
    waiting = list(cells)
    urgent = sorted((cell for cell in waiting if cell.perishes), key=lambda cell: (-cell.days, cell.code))
    count = Counter(opened)
    places: list[Place] = []
    for cell in urgent:
        places.append(Place(len(places) + 1, cell, count[cell.recipe], drawn=False))
        count[cell.recipe] += 1
    queues: dict[str, list[Waiting]] = {}
    for cell in sorted((cell for cell in waiting if not cell.perishes), key=lambda cell: _draw(cell.code)):
        queues.setdefault(cell.recipe, []).append(cell)
    while queues:
        recipe = min(queues, key=lambda name: (count[name], -max(c.days for c in queues[name]), name))
        cell = queues[recipe].pop(0)
        places.append(Place(len(places) + 1, cell, count[recipe], drawn=True))
        count[recipe] += 1
        if not queues[recipe]:
            del queues[recipe]
    return tuple(places)


def _draw(code: str) -> bytes:
    return sha256(code.encode()).digest()
