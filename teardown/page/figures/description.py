"""What a figure shows, without how it is drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Style = Literal["ink", "accent", "soft", "faint", "pore", "oxide", "metal"]
Dash = Literal["", "dashed", "dotted"]
End = Literal["", "failed", "censored"]


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: what it counts and how far it reaches.

    Limits left out are taken from the data and widened to the next tick. ``percent`` shows fractions of 0
    to 1 as percent. ``whole`` allows ticks at whole numbers only.
    ``names`` are the words of given ``ticks``: rows of things instead of numbers.
    """

    label: str = ""
    low: float | None = None
    high: float | None = None
    scale: Literal["linear", "log", "sqrt"] = "linear"
    percent: bool = False
    whole: bool = False
    ticks: tuple[float, ...] | None = None
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Curve:
    """One series. A NaN in ``y`` is a gap and is drawn as one.

    ``kind`` "steps" holds each value until the next x; "points" draws symbols, open where ``hollow``.
    ``low`` and ``high`` draw the doubt as a band (bars for points). ``end`` marks the last point: "failed"
    filled, "censored" open. The label is set on the curve, or beside its end; "" leaves the curve unlabelled.
    """

    label: str
    x: Sequence[float]
    y: Sequence[float]
    kind: Literal["line", "steps", "points"] = "line"
    style: Style = "ink"
    dash: Dash = ""
    side: Literal["left", "right"] = "left"
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None
    hollow: bool = False
    end: End = ""
    end_label: str = ""
    key: str = ""
    name: str = ""  # said on hover; the label where empty


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of the x axis, as wide as its interval (a knee, a doubtful time)."""

    low: float
    high: float
    label: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line across, dashed: a limit, a share of the peak."""

    at: float
    label: str = ""
    along: Literal["x", "y"] = "y"


@dataclass(frozen=True, slots=True)
class Mark:
    """One point that means something, with its words and, where known, its interval along y."""

    x: float
    y: float
    label: str = ""
    shape: Literal["filled", "hollow", "cross", "tick"] = "filled"
    style: Style = "ink"
    low: float | None = None
    high: float | None = None
    key: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """Curves over one x axis and one or two y axes. Sizes are in the drawing's own units, one a CSS pixel."""

    title: str
    description: str
    x: Axis
    y: Axis
    curves: tuple[Curve, ...] = ()
    right: Axis | None = None
    bands: tuple[Band, ...] = ()
    rules: tuple[Rule, ...] = ()
    marks: tuple[Mark, ...] = ()
    width: int = 640
    height: int = 320
    plain: bool = False  # small: end ticks only, no axis names, no labels on curves
    sides: tuple[float, float] = (
        0.0,
        0.0,
    )  # least room left and right, so that drawings one above another align


@dataclass(frozen=True, slots=True)
class Dot:
    """One row: a value with its interval, a note at its right. Without a value the note stands alone."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    note: str = ""
    style: Style = "ink"
    hollow: bool = False
    group: str = ""
    href: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class DotPlot:
    """Rows of dots and intervals over one axis; equal neighbouring ``group`` words make a heading."""

    title: str
    description: str
    axis: Axis
    rows: tuple[Dot, ...]
    reference: float | None = None
    reference_label: str = ""
    width: int = 720


@dataclass(frozen=True, slots=True)
class Bar:
    """One step of a waterfall: a total that stands on the axis, or a change from where the last bar ended."""

    label: str
    value: float
    low: float | None = None
    high: float | None = None
    style: Style = "soft"
    total: bool = False
    bounds_only: bool = False  # the share lies somewhere within low..high: hatched, no point value claimed


@dataclass(frozen=True, slots=True)
class Waterfall:
    """Where a quantity went, from total to total."""

    title: str
    description: str
    unit: str
    bars: tuple[Bar, ...]
    decimals: int = 3
    width: int = 640
    height: int = 320


@dataclass(frozen=True, slots=True)
class Share:
    """One part of a stack; ``low`` and ``high`` are its own 95 % limits."""

    name: str
    value: float
    style: Style
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Stack:
    """One row of shares."""

    label: str
    shares: tuple[Share, ...]
    note: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class Stacks:
    """Rows of shares along one axis that starts at zero."""

    title: str
    description: str
    axis: Axis
    rows: tuple[Stack, ...]
    width: int = 720


@dataclass(frozen=True, slots=True)
class Grid:
    """Small multiples: figures of one size in rows of ``columns``, each under its title."""

    title: str
    description: str
    figures: tuple[Figure, ...]
    columns: int = 3
    gap: int = 20
