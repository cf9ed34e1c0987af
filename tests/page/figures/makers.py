"""Invented curves for drawing."""

import random

from teardown.page.figures import Axis, Curve, Figure

SVG = "{http://www.w3.org/2000/svg}"


def a_curve(label: str = "capacity", n: int = 120, seed: int = 1, **kwargs: object) -> Curve:
    rng = random.Random(seed)
    level = 0.4 + 0.02 * seed
    y = tuple(level - 0.001 * i + rng.gauss(0, 0.002) for i in range(n))
    return Curve(label, tuple(float(i + 1) for i in range(n)), y, **kwargs)  # type: ignore[arg-type]


def a_figure(*curves: Curve, **kwargs: object) -> Figure:
    settings: dict[str, object] = {
        "title": "Capacity",
        "description": "It falls.",
        "x": Axis("cycle", whole=True),
        "y": Axis("capacity, Ah"),
        "curves": curves or (a_curve(),),
    }
    return Figure(**(settings | kwargs))  # type: ignore[arg-type]
