"""The phases of a fit in the order and words of a page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from teardown.diffraction.models import Fit, PhaseFraction
from teardown.page.typesetting import fraction_as_percent, number


@dataclass(frozen=True, slots=True)
class PhaseLine:
    """One phase: its share with both uncertainties, or its limit, and what else was found of it."""

    key: str
    name: str
    share: str
    brief: str
    esd: str
    u: str
    below_limit: bool
    corrected: str
    absolute: str
    cell: str
    more: str


@dataclass(frozen=True, slots=True)
class GroupLine:
    """Sum over a group, with the limit of what was not found of it."""

    words: str
    share: str
    u: str
    limit: str


def phase_lines(fit: Fit) -> tuple[PhaseLine, ...]:
    """Give the phases that were found, the largest first, then those below their limit."""
    rows = sorted(fit.fractions.all(), key=lambda f: (f.below_limit, -f.weight_fraction))
    return tuple(_line(row) for row in rows)


def _line(row: PhaseFraction) -> PhaseLine:
    details = row.details
    brindley = details.get("brindley")
    absolute = details.get("weight_fraction_absolute")
    corrected = ""
    if brindley:
        low, high = (number(100 * brindley[k], 1) for k in ("low", "high"))
        corrected = f"{number(100 * brindley['weight_fraction'], 1)} ({low}–{high})"
    share = _limit(row.weight_fraction) if row.below_limit else fraction_as_percent(row.weight_fraction, 2)
    return PhaseLine(
        key=row.phase,
        name=details.get("name") or row.phase,
        share=f"less than {share}" if row.below_limit else share,
        brief=fraction_as_percent(row.weight_fraction, 0 if (row.u or row.esd or 0.01) >= 0.01 else 1),
        esd="" if row.esd is None else number(100 * row.esd, 2),
        u="" if row.u is None else number(100 * row.u, 1),
        below_limit=row.below_limit,
        corrected=corrected,
        absolute="" if absolute is None else number(100 * absolute, 1),
        cell=_cell(details),
        more=", ".join(_more(details)),
    )


def _limit(value: float) -> str:
    """Set a limit with two figures at least: less than 0.0 % would say nothing."""
    return fraction_as_percent(value, 1 if value >= 0.01 else 2)


def _cell(details: Mapping[str, Any]) -> str:
    """Give the edges that differ, each with its e.s.d. in the last places."""
    cell, esd = details.get("cell"), details.get("cell_esd")
    if not cell:
        return ""
    edges = list(dict.fromkeys(round(edge, 5) for edge in cell[:3]))
    doubts = list(esd or [])[: len(edges)]
    return ", ".join(
        f"{edge:.4f}({max(1, round(doubts[i] * 1e4))})"
        if i < len(doubts) and doubts[i] > 0
        else f"{edge:.4f}"
        for i, edge in enumerate(edges)
    )


def _more(details: Mapping[str, Any]) -> Iterable[str]:
    """Say what else was found of a phase."""
    if details.get("oxidation") is not None:
        yield f"{100 * details['oxidation']:.0f} % of the way from maghemite to magnetite, by cell edge"
    if details.get("size_nm"):
        yield f"crystallites of {details['size_nm']:.0f} nm"
    if details.get("size_at_least_nm"):
        yield f"crystallites above {details['size_at_least_nm']:.0f} nm (lines as wide as the instrument's)"
    if details.get("strain"):
        yield f"strain {100 * details['strain']:.2f} %"
    if details.get("texture_r") is not None:
        yield f"March-Dollase r {details['texture_r']:.2f}"
    if details.get("width_measured") is False and details.get("status") == "found":
        yield "line width assumed"


def group_lines(fit: Fit) -> tuple[GroupLine, ...]:
    """Give the sums over groups of phases."""
    groups = fit.statistics.get("groups", [])
    return tuple(
        GroupLine(
            g["words"],
            fraction_as_percent(g["weight_fraction"], 1) if g["phases"] else "",
            number(100 * g["u"], 1) if g["phases"] else "",
            "" if g["limit"] is None else _limit(g["limit"]),
        )
        for g in groups
        if g["group"] != "standard"
    )
