"""Elements of SVG, escaped, without a single inline style."""

from collections.abc import Iterable
from html import escape

import numpy as np
from numpy.typing import NDArray

from teardown.page.figures.labels import Anchor, Word


def element(name: str, content: str = "", /, **attributes: object) -> str:
    """Write one element; ``class_`` and ``data_x`` become class and data-x, None and "" are left out."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for key, value in attributes.items()
        if value not in (None, "")
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def _value(value: object) -> str:
    return figure_of(float(value)) if isinstance(value, (float, np.floating)) else escape(str(value))


def figure_of(value: float) -> str:
    """Write a coordinate with at most two decimals."""
    written = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def group(content: Iterable[str], /, **attributes: object) -> str:
    """Write a group, or nothing where it would be empty."""
    inside = "".join(content)
    return element("g", inside, **attributes) if inside else ""


def title(words: str) -> str:
    """Write what is said on hover and to a reader."""
    return element("title", escape(words)) if words else ""


def text(words: str, x: float, y: float, css: str = "", anchor: Anchor = "start") -> str:
    """Write one line of text."""
    return element(
        "text",
        escape(words),
        x=float(x),
        y=float(y),
        class_=css,
        text_anchor=None if anchor == "start" else anchor,
    )


def word(placed: Word) -> str:
    """Write a placed text with its leader, where it has one."""
    line = "" if placed.leader is None else straight(*placed.leader, css="leader")
    return line + text(placed.text, placed.spot.x, placed.spot.y, placed.css, placed.spot.anchor)


def straight(x1: float, y1: float, x2: float, y2: float, css: str) -> str:
    """Write a straight line."""
    return element("path", d=f"M{figure_of(x1)} {figure_of(y1)}L{figure_of(x2)} {figure_of(y2)}", class_=css)


def path(x: NDArray[np.float64], y: NDArray[np.float64], *, steps: bool = False) -> str:
    """Write the d of a broken line; a NaN lifts the pen."""
    parts: list[str] = []
    down, last = False, 0.0
    for a, b in zip(x.tolist(), y.tolist(), strict=True):
        if a != a or b != b:
            down = False
            continue
        if not down:
            parts.append(f"M{a:.1f} {b:.1f}")
        elif steps:
            parts.append(f"L{a:.1f} {last:.1f}L{a:.1f} {b:.1f}")
        else:
            parts.append(f"L{a:.1f} {b:.1f}")
        down, last = True, b
    return "".join(parts)


def sheet(
    title: str, description: str, width: float, height: float, content: str, **attributes: object
) -> str:
    """Write the whole drawing with its name and its description for those who do not see it."""
    inside = element("title", escape(title) or " ") + element("desc", escape(description) or " ") + content
    return element(
        "svg",
        inside,
        class_="drawing",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {figure_of(width)} {figure_of(height)}",
        width=figure_of(width),
        height=figure_of(height),
        role="img",
        aria_label=f"{title}. {description}".strip(),
        **attributes,
    )
