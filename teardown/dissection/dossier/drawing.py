"""The electrode as it is drawn on pages: a face with its grid, points that were put, pieces that were cut."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from teardown.cells.models import Cell
from teardown.dissection.models import Entry, Outline
from teardown.dissection.rules.frames import Point, centre
from teardown.dissection.rules.places import GRIDS, grid_of, point_words

HEIGHT = 120.0
USUAL_ASPECT, NARROWEST, WIDEST = 0.75, 0.4, 1.8
CUT = 9.0  # of the corner at the top left of face A: by it a loose electrode is laid right


@dataclass(frozen=True, slots=True)
class Spotted:
    """A point on the drawing, with its number and what was said there."""

    number: int
    x: float
    y: float
    words: str
    said: tuple[tuple[Entry, str], ...]


@dataclass(frozen=True, slots=True)
class Shape:
    """The outline of a piece on the drawing."""

    points: str
    label_x: float
    label_y: float
    outline: Outline


@dataclass(slots=True)
class Drawing:
    """One face, as it lies before the eye: face B is mirrored. Lengths are of the drawing."""

    face: str
    width: float
    grid: str
    height: float = HEIGHT
    spots: list[Spotted] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)

    @property
    def columns(self) -> list[float]:
        """Give where the lines between columns stand."""
        number = len(GRIDS[self.grid][0])
        return [round(self.width * at / number, 1) for at in range(1, number)]

    @property
    def rows(self) -> list[float]:
        """Give where the lines between rows lie."""
        return [self.height / 3, 2 * self.height / 3]

    @property
    def plate(self) -> str:
        """Give the edge of the electrode with its cut corner, as points of a polygon."""
        right, low = self.width, self.height
        if self.face == "A":
            corners = [(CUT, 0), (right, 0), (right, low), (0, low), (0, CUT)]
        else:
            corners = [(0, 0), (right - CUT, 0), (right, CUT), (right, low), (0, low)]
        return _points(corners)

    @property
    def box(self) -> str:
        """Give the window of the drawing, with a margin for numbers."""
        return f"-8 -8 {self.width + 16:g} {self.height + 16:g}"

    @property
    def words(self) -> str:
        """Say what the drawing shows."""
        shown = [f"{len(self.spots)} {'point' if len(self.spots) == 1 else 'points'}"] if self.spots else []
        shown += [f"the outline of {shape.outline.sample}" for shape in self.shapes]
        return f"Face {self.face}: {', '.join(shown) or 'nothing marked yet'}"

    def across(self, x: float) -> float:
        """Give where a fraction is drawn."""
        return round((1 - x if self.face == "B" else x) * self.width, 1)

    def down(self, y: float) -> float:
        """Give where a fraction from the top is drawn."""
        return round(y * self.height, 1)


def blank(cell: Cell, face: str) -> Drawing:
    """Draw a face with nothing on it, in the proportions of the electrode as built."""
    wide, high = cell.electrode_width_mm, cell.electrode_height_mm
    aspect = wide / high if wide and high else USUAL_ASPECT
    width = HEIGHT * min(max(aspect, NARROWEST), WIDEST)
    return Drawing(face, round(width, 1), grid_of(wide))


def drawings(cell: Cell, entries: Iterable[Entry] = (), outlines: Iterable[Outline] = ()) -> list[Drawing]:
    """Draw the faces on which something was put: points of entries, outlines of pieces."""
    faces = {face: blank(cell, face) for face in "AB"}
    said: dict[tuple[str, float, float], list[Entry]] = {}
    for entry in entries:
        if entry.face and entry.x is not None and entry.y is not None:
            said.setdefault((entry.face, entry.x, entry.y), []).append(entry)
    for (face, x, y), there in sorted(said.items(), key=lambda row: (row[0][0], row[0][2], row[0][1])):
        drawn = faces[face]
        words = f"{there[0].place}, {point_words(x, y)}"
        spot = Spotted(
            len(drawn.spots) + 1, drawn.across(x), drawn.down(y), words, tuple((e, e.said) for e in there)
        )
        drawn.spots.append(spot)
    for outline in outlines:
        if outline.frame is not None and (corners := outline.on_electrode):
            drawn = faces[outline.frame.face]
            drawn.shapes.append(_shape(drawn, outline, corners))
    return [drawn for drawn in faces.values() if drawn.spots or drawn.shapes]


def _shape(drawn: Drawing, outline: Outline, corners: tuple[Point, ...]) -> Shape:
    x, y = centre(corners)
    return Shape(
        _points([(drawn.across(x), drawn.down(y)) for x, y in corners]),
        drawn.across(x),
        drawn.down(y),
        outline,
    )


def _points(corners: Iterable[Point]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in corners)


def outlines_of(samples: Iterable[int]) -> list[Outline]:
    """Give the outlines that count of these samples, with their photographs and corners. One query."""
    rows = Outline.objects.current().filter(sample__in=list(samples))
    return list(rows.select_related("sample", "photograph", "frame").order_by("pk"))
