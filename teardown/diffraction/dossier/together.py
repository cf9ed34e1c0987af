"""Patterns of several cells over one axis: laid over one another, or one above the other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from teardown.diffraction.dossier.figures import WIDTH, View, unpacked
from teardown.diffraction.dossier.pattern import cell_code
from teardown.diffraction.models import Fit, Pattern
from teardown.diffraction.runs import standing
from teardown.page.figures import Axis, Curve, Figure, Stack, Stacks
from teardown.page.figures.description import Dash, Share, Style

MOST = 8
STYLES: dict[str, Style] = {
    "metal": "metal",
    "spinel": "oxide",
    "hydroxide": "accent",
    "oxyhydroxide": "pore",
    "oxide": "ink",
    "salt": "faint",
}
# Cells laid over one another: the three inks of a page, then the same dashed and dotted. Colours of classes
# stay with classes.
INKS: tuple[tuple[Style, Dash], ...] = (
    ("ink", ""), ("accent", ""), ("soft", ""), ("ink", "dashed"), ("accent", "dashed"), ("soft", "dashed"),
    ("ink", "dotted"), ("accent", "dotted"),
)  # fmt: skip
PITCH = 1.05
How = Literal["over", "stacked"]


@dataclass(frozen=True, slots=True)
class Together:
    """Several patterns and what is in them."""

    patterns: tuple[Pattern, ...]
    missing: tuple[Pattern, ...]
    figure: Figure | None
    shares: Stacks | None
    view: View
    how: How


def together(patterns: Sequence[Pattern], view: View, how: How) -> Together:
    """Draw fitted patterns over one axis, each scaled to its own strongest line."""
    fits = standing(patterns)
    curves = dict(Fit.objects.filter(pk__in=[f.pk for f in fits.values()]).values_list("pattern", "curves"))
    there = [p for p in patterns if curves.get(p.pk)]
    missing = tuple(p for p in patterns if not curves.get(p.pk))
    if not there:
        return Together(tuple(patterns), missing, None, None, view, how)
    figure = _figure([(p, unpacked(curves[p.pk])) for p in there], view, how)
    shares = _shares([(p, fits[p.pk]) for p in there])
    return Together(tuple(patterns), missing, figure, shares, view, how)


def _figure(drawn: Sequence[tuple[Pattern, dict[str, Any]]], view: View, how: How) -> Figure:
    """Draw the counts of each above its background."""
    low = view.low if view.low is not None else min(float(c["two_theta_deg"][0]) for _, c in drawn)
    high = view.high if view.high is not None else max(float(c["two_theta_deg"][-1]) for _, c in drawn)
    lines = []
    for k, (pattern, curve) in enumerate(drawn):
        x = curve["two_theta_deg"]
        inside = (x >= low) & (x <= high)
        net = (curve["measured"] - curve["background"])[inside]
        scaled = net / max(float(net.max(initial=1.0)), 1e-9)
        if view.scale != "linear":
            scaled = np.sqrt(np.maximum(scaled, 0.0))
        offset = PITCH * (len(drawn) - 1 - k) if how == "stacked" else 0.0
        name = cell_code(pattern) or str(pattern)
        style, dash = INKS[0] if how == "stacked" else INKS[k]
        lines.append(
            Curve(
                "" if how == "stacked" else name,
                tuple(x[inside].tolist()),
                tuple((scaled + offset).tolist()),
                style=style,
                dash=dash,
                key=f"cell:{name}",
                name=name,
            )
        )
    return Figure(
        title="Patterns together",
        description=f"{len(drawn)} patterns, {low:.0f} to {high:.0f} degrees, each to its strongest line.",
        x=Axis("2θ, degrees", low, high),
        y=_heights([c.name for c in lines], how, ", root" if view.scale != "linear" else ""),
        curves=tuple(lines),
        width=WIDTH,
        height=120 * len(drawn) + 120 if how == "stacked" else 460,
    )


def _heights(names: Sequence[str], how: How, root: str) -> Axis:
    """Give the axis of heights: shares, or one rung with its name for each pattern set above another."""
    label = "share of the strongest line" + root
    if how == "over":
        return Axis(label, 0, ticks=())
    rungs = tuple(PITCH * (len(names) - 1 - k) for k in range(len(names)))
    return Axis(label, -0.05, PITCH * len(names), ticks=rungs, names=tuple(names))


def _shares(fits: Sequence[tuple[Pattern, Fit]]) -> Stacks:
    """Set the groups of phases of each beside one another."""
    kept = {
        pattern.pk: [g for g in fit.statistics.get("groups", []) if g["phases"] and g["group"] != "standard"]
        for pattern, fit in fits
    }
    # groups without a colour of their own share one: it must stand for the same things in every row
    rare = sorted({g["words"] for found in kept.values() for g in found if g["group"] not in STYLES})
    rows = []
    for pattern, _ in fits:
        found = kept[pattern.pk]
        shares = [_share(g["words"], STYLES[g["group"]], [g]) for g in found if g["group"] in STYLES]
        others = [g for g in found if g["group"] not in STYLES]
        if others:
            shares.append(_share(", ".join(rare), "soft", others))
        name = cell_code(pattern) or str(pattern)
        rows.append(Stack(name, tuple(shares), key=f"cell:{name}"))
    return Stacks(
        "Groups of phases",
        "Shares of the crystalline mass by group, for each pattern.",
        Axis("share of the crystalline mass", 0, 1, percent=True),
        tuple(rows),
    )


def _share(words: str, style: Style, groups: Sequence[dict[str, Any]]) -> Share:
    """Add groups up to one share, with twice their uncertainty to either side."""
    weight = sum(float(g["weight_fraction"]) for g in groups)
    reach = 2 * float(np.hypot.reduce([float(g["u"]) for g in groups]))
    return Share(words, weight, style, max(0.0, weight - reach), min(1.0, weight + reach))
