"""Figures of one micrograph: greys with levels, rim thickness, layers below a face, how pores are spread."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, log10, nan
from typing import Any

from teardown.imaging.models import SectionResult
from teardown.page.figures import Axis, Curve, Figure, Rule
from teardown.page.figures.description import Style

LAYERED: tuple[tuple[str, str, Style], ...] = (
    ("porosity", "porosity", "pore"),
    ("oxide", "oxide_fraction", "oxide"),
)
COVERAGE = "oxide coverage"


@dataclass(frozen=True, slots=True)
class PaperBar:
    """A scale bar drawn in the pixels of its picture, right at whatever size both are printed."""

    words: str
    length_px: str
    thick: int
    height: int
    after: str
    baseline: int
    size: int

    @classmethod
    def of(cls, width_px: int, pixel_um: float | None) -> "PaperBar":
        """Choose a round length of at most a quarter of the picture."""
        most = width_px / 4 * (pixel_um or 1.0)
        ten = 10.0 ** floor(log10(most))
        length = next((step * ten for step in (5, 2) if step * ten <= most), ten)
        long, size = length / (pixel_um or 1.0), max(width_px // 28, 4)
        words = f"{length:g} {'µm' if pixel_um else 'px'}"
        return cls(words, f"{long:.2f}", size // 4 + 1, size * 2, f"{long + size / 2:.2f}", size, size)


def levels_figure(result: SectionResult) -> Figure | None:
    """Draw the histogram of greys with the levels, where the run kept one."""
    histogram = result.sums.get("histogram")
    if not histogram:
        return None
    levels = result.levels
    step = 1 / len(histogram)
    places = [(number + 0.5) * step for number in range(len(histogram))]
    rules = [Rule(levels["pore"], "pore", "x"), Rule(levels["metal"], "metal", "x")]
    rules += [Rule(grey, "oxide", "x") for grey in levels["oxides"]]
    return Figure(
        title="Greys and levels",
        description="How often each grey occurs, with the levels of pore, oxide and metal.",
        x=Axis("grey, 0 black to 1 white", low=0, high=1),
        y=Axis("share of pixels", percent=True, low=0),
        curves=(Curve("", places, histogram, kind="steps"),),
        rules=tuple(rules),
    )


def rims_figure(result: SectionResult) -> Figure | None:
    """Draw how thick the rims appear along the covered outline."""
    rims = result.sums.get("rims")
    if not rims:
        return None
    size = result.sums["pixel_size_um"]
    total = sum(rims["counts"]) or 1
    last = max(number for number, count in enumerate(rims["counts"]) if count) + 2
    step = rims["step_px"] * (size or 1)
    unit = "µm" if size else "px"
    return Figure(
        title="Apparent rim thickness",
        description=f"Rims appear about {rims['median_px'] * (size or 1):.2g} {unit} thick.",
        x=Axis(f"apparent thickness, {unit}", low=0),
        y=Axis("share of the covered outline", percent=True, low=0),
        curves=(
            Curve(
                "",
                [number * step for number in range(last)],
                [count / total for count in (*rims["counts"], 0, 0)[:last]],
                kind="steps",
                style="oxide",
            ),
        ),
        rules=(Rule(rims["median_px"] * (size or 1), "median", "x"),),
    )


def profile_figure(result: SectionResult, other: int | None = None) -> Figure | None:
    """Draw porosity and oxide by depth below the face, or below another one, where it was drawn."""
    layers = result.sums.get("profile") if other is None else result.sums["profiles"][other]
    if not layers:
        return None
    depths = [layer["depth_um"] or 50 * (layer["start"] + layer["end"]) for layer in layers]
    scaled = layers[0]["depth_um"] is not None
    covered = _coverage(depths, [layer.get("coverage") for layer in layers])
    return Figure(
        title="From face to core" if other is None else f"From face {other + 2} to core",
        description=f"{_told(covered)} in layers of equal depth below the drawn face.",
        x=Axis("depth, µm" if scaled else "depth, % of the section", low=0),
        y=Axis("share of the layer", percent=True, low=0),
        curves=(
            Curve("porosity", depths, [layer["porosity"] for layer in layers], style="pore"),
            Curve("oxide", depths, [layer["oxide_fraction"] for layer in layers], style="oxide"),
            *covered,
        ),
    )


def _told(covered: tuple[Curve, ...]) -> str:
    return "Porosity, oxide fraction and oxide coverage" if covered else "Porosity and oxide fraction"


def _coverage(
    depths: Sequence[float],
    values: Sequence[float | None],
    low: Sequence[float] | None = None,
    high: Sequence[float] | None = None,
) -> tuple[Curve, ...]:
    """Draw the coverage by depth, a gap where there is too little outline; nothing where it is never told."""
    if all(value is None for value in values):
        return ()
    told = [nan if value is None else value for value in values]
    return (Curve(COVERAGE, depths, told, style="metal", dash="dashed", low=low, high=high),)


def pooled_profile_figure(layers: Sequence[Mapping[str, Any]]) -> Figure | None:
    """Draw porosity and oxide by depth over the fields of a sample, each with its interval as a band."""
    if not layers:
        return None
    depths = [50 * (layer["start"] + layer["end"]) for layer in layers]
    n = layers[0]["porosity"]["n"]
    curves = tuple(
        Curve(
            words,
            depths,
            [layer[key]["value"] for layer in layers],
            style=style,
            low=[layer[key]["low"] for layer in layers],
            high=[layer[key]["high"] for layer in layers],
        )
        for words, key, style in LAYERED
    )
    estimates = [layer.get("coverage") or {} for layer in layers]
    low, high = ([one.get(end, nan) for one in estimates] for end in ("low", "high"))
    covered = _coverage(depths, [one.get("value") for one in estimates], low, high)
    return Figure(
        title=f"From face to core, over {n} fields",
        description=f"{_told(covered)} below the drawn faces of a sample's fields.",
        x=Axis("depth, % of the section", low=0),
        y=Axis("share of the layer", percent=True, low=0),
        curves=(*curves, *covered),
    )


def correlation_figure(result: SectionResult) -> Figure | None:
    """Draw the two-point correlation of pore and metal, with where it levels off."""
    found = result.sums.get("correlation") or {}
    lags = found.get("lags_px") or []
    shown = [(name, found[name]) for name in ("pore", "metal") if found.get(name)]
    if not lags or not shown:
        return None
    size, unit = _scale(result)
    places = [lag * size for lag in lags]
    ranges = {name: one["range_px"] * size for name, one in shown if one.get("range_px") is not None}
    told = ", ".join(f"{name} {reach:.2g} {unit}" for name, reach in ranges.items())
    return Figure(
        title="Two-point correlation",
        description=f"Chance that two points a distance apart lie in one class; level beyond {told}."
        if told
        else "Chance that two points a distance apart lie in one class.",
        x=Axis(f"distance, {unit}", low=0),
        y=Axis("chance that both lie in the class", percent=True, low=0),
        curves=tuple(Curve(name, places, one["chance"], style=_style(name)) for name, one in shown),
        rules=tuple(Rule(reach, f"range of {name}", "x") for name, reach in ranges.items()),
    )


def chords_figure(result: SectionResult) -> Figure | None:
    """Draw how long the chords of pore and metal are, along rows and columns."""
    found = result.sums.get("chords") or {}
    shown = [(name, found[name]) for name in ("pore", "metal") if (found.get(name) or {}).get("n")]
    if not shown:
        return None
    size, unit = _scale(result)
    step = found["step_px"] * size
    last = max(n for _, one in shown for n, count in enumerate(one["counts"]) if count) + 2
    curves = []
    for name, one in shown:
        counts = [*one["counts"], 0, 0][:last]
        shares = [count / one["n"] for count in counts]
        curves.append(Curve(name, [k * step for k in range(last)], shares, kind="steps", style=_style(name)))
    means = [
        Rule(one["mean_px"] * size, f"mean of {name}", "x")
        for name, one in shown
        if one["mean_px"] is not None
    ]
    return Figure(
        title="Chords of pore and metal",
        description=f"Lengths of runs along rows and columns in steps of {step:.2g} {unit}.",
        x=Axis(f"length, {unit}", low=0),
        y=Axis("share of the chords", percent=True, low=0),
        curves=tuple(curves),
        rules=tuple(means),
    )


def openings_figure(result: SectionResult) -> Figure | None:
    """Draw what share of pore lies in openings smaller than a diameter: its granulometry."""
    found = result.sums.get("openings") or {}
    sizes, passed = found.get("sizes_px") or [], found.get("passed") or []
    if len(sizes) < 2 or len(sizes) != len(passed):
        return None
    size, unit = _scale(result)
    middle = (result.sums.get("pore_openings") or {}).get("d50_px")
    return Figure(
        title="Openings of the pores",
        description=f"Half of the pore lies in openings below {middle * size:.2g} {unit}."
        if middle
        else "Share of the pore in openings below a diameter.",
        x=Axis(f"diameter of the disc, {unit}", low=0),
        y=Axis("share of the pore in smaller openings", percent=True, low=0, high=1),
        curves=(Curve("", [one * size for one in sizes], passed, style="pore"),),
        rules=(Rule(middle * size, "half", "x"),) if middle else (),
    )


def _scale(result: SectionResult) -> tuple[float, str]:
    size = result.sums.get("pixel_size_um")
    return (size, "µm") if size else (1.0, "px")


def _style(name: str) -> Style:
    return "pore" if name == "pore" else "metal"
