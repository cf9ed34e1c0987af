"""A crop of a micrograph read with other thresholds, before anything is measured with them."""

import base64
import io
from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.imaging.dossier.drawings import levels_figure
from teardown.imaging.dossier.numbers import WORDS, count_levels
from teardown.imaging.models import FieldMeasure, Micrograph, SectionResult
from teardown.imaging.runs import manual_levels
from teardown.imaging.store import Window, calm_window, classes_within, preview_of
from teardown.page.figures import Figure
from teardown.page.typesetting import estimate_cell, number
from teardown.science.estimate import Estimate

SIDE = 1024
SHOWN = ("porosity", "oxide_fraction", "oxide_share_of_solid", "oxide_coverage")


@dataclass(frozen=True, slots=True)
class Slider:
    """One threshold: where it stands, and how far it may be moved."""

    name: str
    words: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class AdjustPage:
    """The page on which two thresholds are tried on a crop."""

    micrograph: Micrograph
    result: SectionResult
    sliders: tuple[Slider, ...]
    whole: tuple[tuple[str, str], ...]
    figure: Figure | None
    tiles: int
    may_measure: bool

    @property
    def bright(self) -> bool:
        """Tell whether matter brighter than metal was found, so that the key names it."""
        return self.result.levels.get("bright") is not None

    @property
    def greys(self) -> list[float]:
        """Give the greys of resin and metal, from which the sliders' places are told."""
        return [self.result.levels["pore"], self.result.levels["metal"]]


def adjusting_of(micrograph: Micrograph, result: SectionResult, user: Any) -> AdjustPage:
    """Gather the page on which a result's thresholds are tried."""
    return AdjustPage(
        micrograph=micrograph,
        result=result,
        sliders=sliders_of(result),
        whole=whole_of(result),
        figure=levels_figure(result),
        tiles=count_levels(micrograph.width_px, micrograph.height_px),
        may_measure=may(user, "measures.run"),
    )


def sliders_of(result: SectionResult) -> tuple[Slider, Slider]:
    """Give the two thresholds of a result; each may go as far as the middle of a bare edge."""
    found = result.levels
    pore, metal = found["pore"], found["metal"]
    middle = (pore + metal) / 2
    lower, upper = thresholds_of(found)
    step = 0.01 * (metal - pore)
    return (
        Slider("lower", "pore below, oxide above", lower, pore + step, middle - step),
        Slider("upper", "oxide below, metal above", upper, middle + step, metal - step),
    )


def thresholds_of(levels: dict[str, Any]) -> tuple[float, float]:
    """Give the greys that part pore from oxide and oxide from metal in a result."""
    if levels.get("thresholds"):
        lower, upper = levels["thresholds"]
        return float(lower), float(upper)
    pore, metal, oxides = levels["pore"], levels["metal"], levels["oxides"]
    return (pore + min(oxides)) / 2, (max(oxides) + metal) / 2


def whole_of(result: SectionResult) -> tuple[tuple[str, str], ...]:
    """Give the numbers of the whole field, set in words, in the order of :data:`SHOWN`."""
    rows = {row.quantity: row for row in FieldMeasure.objects.filter(run=result.run_id, quantity__in=SHOWN)}
    found = []
    for key in SHOWN:
        row = rows.get(key)
        told = ""
        if row is not None:
            shown = Estimate(row.value, row.low, row.high, row.unit, row.n, row.method)
            told = str(estimate_cell(shown, percent=True))
        found.append((WORDS[key], told))
    return tuple(found)


def trial_of(
    micrograph: Micrograph,
    result: SectionResult,
    window: Window,
    *,
    lower: float,
    upper: float,
    hatched: bool,
) -> dict[str, Any]:
    """Read a window with two thresholds and lay what it gives beside what the standing result found there.

    Returns
    -------
    dict
        ``image``: classes as a data address; ``rows``: standing, tried and difference, set in words;
        ``changed``: share of the window that would change class.

    Raises
    ------
    ValidationError, Refusal
        If the thresholds are out of order, or the window cannot be read.
    """
    levels = manual_levels(result, lower, upper)
    standing = classes_within(result, window)
    tried = preview_of(calm_window(micrograph, result, window), result, levels, standing != 3)
    here = _values(standing)
    rows = [
        {
            "standing": _percent(here.get(key)),
            "tried": _percent(tried.values.get(key)),
            "difference": _points(tried.values.get(key), here.get(key)),
        }
        for key in SHOWN
    ]
    inside = max(int((standing != 3).sum()), 1)
    changed = float(((tried.labels != standing) & (standing != 3)).sum()) / inside
    return {
        "rows": rows,
        "changed": f"{number(changed * 100, 2)} %",
        "image": _address(tried.labels, hatched=hatched),
        "left": window.left,
        "top": window.top,
        "width": window.width,
        "height": window.height,
    }


def _values(labels: Any) -> dict[str, float]:
    from teardown.science.stereology.interfaces import count_sums
    from teardown.science.stereology.ratios import parts_of

    return {key: part.value for key, part in parts_of(count_sums(labels)).items() if part.value is not None}


def _percent(share: float | None) -> str:
    return "" if share is None else f"{number(share * 100, 1)} %"


def _points(new: float | None, old: float | None) -> str:
    if new is None or old is None:
        return ""
    points = round((new - old) * 100, 1)
    return ("+" if points > 0 else "") + number(points, 1)


def _address(labels: Any, *, hatched: bool) -> str:
    """Give classes as a data address: a small palette picture, or with hatches a layer in full colour."""
    from PIL import Image

    from teardown.science.stereology.overlay import COLOURS, tint

    out = io.BytesIO()
    if hatched:
        Image.fromarray(tint(labels, "hatch")).save(out, "PNG", compress_level=1)
    else:
        picture = Image.fromarray(labels)
        picture.putpalette([part for code in sorted(COLOURS) for part in COLOURS[code]])
        clear = bytes(0 if code == 2 else 255 for code in sorted(COLOURS))
        picture.save(out, "PNG", compress_level=1, transparency=clear)
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode()
