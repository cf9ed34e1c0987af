"""Words on a drawing: how much room they take, and where they may stand so that none lies on another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

SIZE = 13.0  # the type size of figures, in drawing units
LINE = 16.0
_ADVANCE = (  # advance widths of the sans face, per mille of its size, from space to tilde
    200,
    289,
    425,
    497,
    497,
    824,
    609,
    249,
    303,
    303,
    418,
    497,
    249,
    311,
    249,
    350,
    497,
    497,
    497,
    497,
    497,
    497,
    497,
    497,
    497,
    497,
    249,
    249,
    497,
    497,
    497,
    425,
    847,
    544,
    588,
    571,
    615,
    527,
    494,
    617,
    652,
    263,
    480,
    579,
    486,
    727,
    647,
    664,
    566,
    664,
    569,
    534,
    536,
    645,
    515,
    786,
    513,
    476,
    539,
    303,
    350,
    303,
    497,
    500,
    542,
    504,
    553,
    456,
    555,
    496,
    292,
    504,
    544,
    246,
    247,
    495,
    255,
    829,
    547,
    542,
    555,
    555,
    347,
    419,
    338,
    544,
    467,
    718,
    446,
    467,
    425,
    303,
    241,
    303,
    497,
)

Anchor = Literal["start", "middle", "end"]


def text_width(text: str, size: float = SIZE) -> float:
    """Tell how wide a text will be, a little on the safe side (a fallback face may be wider)."""
    per_mille = sum(_ADVANCE[ord(c) - 32] if 32 <= ord(c) < 127 else 560 for c in text)
    return per_mille * size / 1000 * 1.06


class Box(NamedTuple):
    """A rectangle on the drawing."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box", gap: float = 0.0) -> bool:
        """Tell whether two boxes come nearer than ``gap``."""
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.top < other.bottom + gap
            and other.top < self.bottom + gap
        )

    def within(self, other: "Box") -> bool:
        """Tell whether this box lies inside another."""
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.top >= other.top
            and self.bottom <= other.bottom
        )


@dataclass(frozen=True, slots=True)
class Spot:
    """One place where a text could stand: its anchor point on the baseline."""

    x: float
    y: float
    anchor: Anchor = "start"

    def box(self, text: str) -> Box:
        """Give the room the text takes there."""
        width = text_width(text)
        left = {"start": self.x, "middle": self.x - width / 2, "end": self.x - width}[self.anchor]
        return Box(left, self.y - SIZE * 0.8, left + width, self.y + SIZE * 0.25)


@dataclass(frozen=True, slots=True)
class Wish:
    """A text and the places it would take, best first. ``must`` may stand on a curve, if on no other word."""

    text: str
    spots: Sequence[Spot]
    css: str
    own: int = -1  # the curve it belongs to: it may stand near that one, not on it
    must: bool = False
    on_lines: bool = False  # a limit may carry its own words on its line


@dataclass(frozen=True, slots=True)
class Word:
    """A text in its place."""

    text: str
    spot: Spot
    css: str
    leader: tuple[float, float, float, float] | None = None

    @property
    def box(self) -> Box:
        """Give the room the text takes."""
        return self.spot.box(self.text)


@dataclass(slots=True)
class Sheet:
    """The paper while it fills: curves as dense points, and the words already set."""

    bounds: Box
    curves: list[NDArray[np.float64]] = field(default_factory=list)
    lines: list[Box] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    blocked: list[Box] = field(default_factory=list)

    def draw_over(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> None:
        """Remember a curve as points no further than three units apart."""
        self.curves.append(_dense(x, y))

    def settle(self, wishes: Iterable[Wish]) -> list[Wish]:
        """Set each text in its first free place; give back those that found none."""
        left_over = []
        for wish in wishes:
            spot = next((s for s in wish.spots if self._free(s.box(wish.text), wish)), None)
            if spot is None and wish.must:
                spot = next((s for s in wish.spots if self._clear_of_words(s.box(wish.text))), None)
            if spot is None:
                left_over.append(wish)
            else:
                self.words.append(Word(wish.text, spot, wish.css))
        return left_over

    def _clear_of_words(self, box: Box) -> bool:
        return (
            box.within(self.bounds)
            and not any(box.meets(w.box, 2) for w in self.words)
            and not any(box.meets(b, 1) for b in self.blocked)
        )

    def _free(self, box: Box, wish: Wish) -> bool:
        own = wish.own
        if not self._clear_of_words(box):
            return False
        if not wish.on_lines and any(box.meets(line, 1) for line in self.lines):
            return False
        for i, points in enumerate(self.curves):
            gap = 1.0 if i == own else 4.0
            inside = (
                (points[:, 0] > box.left - gap)
                & (points[:, 0] < box.right + gap)
                & (points[:, 1] > box.top - gap)
                & (points[:, 1] < box.bottom + gap)
            )
            if inside.any():
                return False
        return self._nearest_is_own(box, own)

    def _nearest_is_own(self, box: Box, own: int) -> bool:
        """A label between two curves must be nearer to its own."""
        if own < 0 or len(self.curves) < 2:
            return True
        centre = np.array([(box.left + box.right) / 2, (box.top + box.bottom) / 2])
        apart = [float(np.min(np.hypot(*(p - centre).T))) if len(p) else np.inf for p in self.curves]
        return apart[own] <= min(apart) + 1e-9


def _dense(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    good = ~(np.isnan(x) | np.isnan(y))
    whole = good[:-1] & good[1:]
    starts, ends = np.column_stack([x[:-1], y[:-1]])[whole], np.column_stack([x[1:], y[1:]])[whole]
    steps = (np.abs(ends - starts).max(axis=1, initial=0) // 3).astype(int) + 1
    first = np.repeat(np.cumsum(steps) - steps, steps)
    share = (np.arange(steps.sum()) - first) / np.repeat(steps, steps)
    between = np.repeat(starts, steps, axis=0) + share[:, None] * np.repeat(ends - starts, steps, axis=0)
    return np.concatenate([between, np.column_stack([x[good], y[good]])])


def along(x: NDArray[np.float64], y: NDArray[np.float64], text: str) -> list[Spot]:
    """List the places for a label above and below a curve, the calm middle first."""
    good = ~(np.isnan(x) | np.isnan(y))
    x, y = x[good], y[good]
    if not len(x):
        return []
    half = text_width(text) / 2
    spots = []
    for share in (0.3, 0.5, 0.4, 0.2, 0.6, 0.7, 0.8, 0.9, 0.1, 0.0, 1.0):
        at = x[0] + share * (x[-1] - x[0])
        under = y[(x >= at - half) & (x <= at + half)]
        if not len(under):
            under = y[[int(np.argmin(np.abs(x - at)))]]
        spots += [
            Spot(at, float(under.max()) + SIZE * 0.8 + 5, "middle"),
            Spot(at, float(under.min()) - 7, "middle"),
        ]
    return spots


def spread(wanted: Sequence[float], low: float, high: float, step: float = LINE) -> list[float]:
    """Move heights apart to at least ``step``, each as near to its wish as order allows, within low..high.

    The caller gives no more heights than fit.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed: list[float] = []
    for rank, i in enumerate(order):
        placed.append(max(wanted[i], placed[rank - 1] + step if rank else low))
    ceiling = high
    for rank in reversed(range(len(placed))):
        placed[rank] = min(placed[rank], ceiling)
        ceiling = placed[rank] - step
    result = [0.0] * len(wanted)
    for rank, i in enumerate(order):
        result[i] = placed[rank]
    return result
