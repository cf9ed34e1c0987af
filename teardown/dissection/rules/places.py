"""The address on an electrode: face, height, width; or a special zone; or a depth in a section.

Face A looks toward the air electrode, face B away from it. Height is as the electrode stood in the cell.
Width counts from the left as seen from face A, and keeps its physical column on face B: a drawing of face B
is mirrored, the data never are.
"""

import re
from dataclasses import dataclass

FACES = {"A": "face A", "B": "face B"}
HEIGHTS = {"T": "top", "M": "middle", "B": "bottom"}
WIDTHS = {"1": "left", "2": "centre", "3": "right"}
GRIDS = {"3x3": ("123", "three by three"), "3x1": ("2", "three heights, for narrow electrodes")}
NARROW_MM = 15.0
ZONES = {
    "liquid line": "at the liquid line",
    "above liquid line": "above the liquid line",
    "tab": "at the tab",
    "edge": "within 2 mm of the edge",
    "under gasket": "under the gasket",
    "weld": "at the weld",
    "whole": "the whole of it",
}
_ADDRESS = re.compile(
    r"(?:(?P<face>[AB])\.?)?(?P<height>[TMB])(?P<width>[123])(?:\s+d=(?P<depth>[01](?:\.\d+)?))?"
)


class NotAPlace(ValueError):
    """The text is no address on an electrode."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where on an electrode. Empty fields are not known; a zone stands alone."""

    face: str = ""
    height: str = ""
    width: str = ""
    zone: str = ""
    depth_fraction: float | None = None

    @property
    def address(self) -> str:
        """Give the short form, as ``A.M2`` or ``liquid line``."""
        if self.zone:
            return self.zone
        grid = ".".join(filter(None, [self.face, self.height + self.width]))
        return grid if self.depth_fraction is None else f"{grid} d={self.depth_fraction:g}"

    @property
    def words(self) -> str:
        """Give it in words: "face A, middle, centre"."""
        if self.zone:
            return ZONES[self.zone]
        parts = [FACES.get(self.face), HEIGHTS.get(self.height), WIDTHS.get(self.width)]
        if self.depth_fraction is not None:
            parts.append(f"{100 * self.depth_fraction:g} % of the thickness from face A")
        return ", ".join(part for part in parts if part)

    def middle(self) -> tuple[float, float]:
        """Give the middle of a grid place as fractions: x from the left seen from face A, y from the top.

        Raises
        ------
        NotAPlace
            For a zone: it is named, not gridded.
        """
        if not (self.height and self.width):
            raise NotAPlace(f"{self.address or 'Nowhere'} is not a place of the grid.")
        return ("123".index(self.width) + 0.5) / 3, ("TMB".index(self.height) + 0.5) / 3


def read_place(text: str) -> Place:
    """Read an address as people write it: ``A.M2``, ``am2``, ``M2 d=0.35``, ``liquid line``.

    Empty is nowhere.

    Raises
    ------
    NotAPlace
        With what an address looks like.
    """
    plain = " ".join(text.split())
    if not plain:
        return Place()
    if plain.lower() in ZONES:
        return Place(zone=plain.lower())
    if plain.upper() in FACES:
        return Place(face=plain.upper())
    shape = _ADDRESS.fullmatch(plain.upper().replace("D=", "d="))
    if shape is None or float(shape["depth"] or 0) > 1:
        raise NotAPlace(
            f"“{text}” is not a place on an electrode. Write face, height and width, as A.M2, "
            f"or one of: {', '.join(ZONES)}."
        )
    depth = None if shape["depth"] is None else float(shape["depth"])
    return Place(shape["face"] or "", shape["height"], shape["width"], "", depth)


def grid_of(width_mm: float | None) -> str:
    """Choose the grid: narrow electrodes have one column."""
    return "3x1" if width_mm is not None and width_mm < NARROW_MM else "3x3"


def all_places(grid: str = "3x3", faces: str = "AB") -> tuple[Place, ...]:
    """Give every place of a grid as it is asked: face by face, top to bottom, left to right."""
    return tuple(
        Place(face, height, width) for face in faces for height in HEIGHTS for width in GRIDS[grid][0]
    )


def place_at(x: float, y: float, face: str, grid: str = "3x3") -> Place:
    """Give the place of the grid that holds a point; x and y are fractions as in `Place.middle`.

    Raises
    ------
    NotAPlace
        If the point lies off the electrode.
    """
    if not (0 <= x <= 1 and 0 <= y <= 1):
        raise NotAPlace(f"({x:g}, {y:g}) lies off the electrode: fractions are 0 to 1.")
    column = "2" if grid == "3x1" else "123"[min(int(x * 3), 2)]
    return Place(face, "TMB"[min(int(y * 3), 2)], column)


def with_point(place: Place, x: float | None, y: float | None, grid: str = "3x3") -> Place:
    """Hold an address and a point on the electrode to one another; a face alone gets the point's address.

    Raises
    ------
    NotAPlace
        If the point lies off the electrode, has no face, or lies in another place than the address says.
    """
    if x is None and y is None:
        return place
    if x is None or y is None:
        raise NotAPlace("A point has two fractions: x from the left and y from the top.")
    if place.zone:
        raise NotAPlace(f"“{place.zone}” is a zone with a name; a point is said with its face.")
    holds = place_at(x, y, place.face, grid)
    if not place.height:
        if not place.face:
            raise NotAPlace("Say on which face the point lies: A or B.")
        return holds
    # an entry may have been moved here from a cell of the other grid
    either = [place_at(x, y, place.face, known) for known in GRIDS]
    if all((place.height, place.width) != (one.height, one.width) for one in either):
        raise NotAPlace(f"The point {point_words(x, y)} lies in {holds.address}, not in {place.address}.")
    return place


def point_words(x: float, y: float) -> str:
    """Say a point: "42 % across, 61 % down", across from the left as seen from face A."""
    return f"{100 * x:.0f} % across, {100 * y:.0f} % down"


def drawn_x(x: float, face: str) -> float:
    """Turn a fraction into where it is drawn when one looks at that face: face B is seen mirrored.

    Its own inverse: a tap on the drawing is turned back by the same rule.
    """
    return 1 - x if face == "B" else x


def drawn_row(height: str, face: str, grid: str = "3x3") -> tuple[Place, ...]:
    """Give a row of places in the order in which they lie before the eye when one looks at that face."""
    row = tuple(Place(face, height, width) for width in GRIDS[grid][0])
    return row[::-1] if face == "B" else row
