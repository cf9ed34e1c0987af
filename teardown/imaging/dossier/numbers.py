"""Numbers of fields and samples as pages show them."""

from collections.abc import Sequence
from dataclasses import dataclass

from teardown.imaging.models import FieldMeasure, SampleMeasure, SectionResult
from teardown.science.estimate import Estimate

# flags that say how much was seen, not how good the picture is: they stand apart
SAMPLING = frozenset({"field_too_small", "few_fields", "fields_disagree"})
WORDS = {
    "porosity": "porosity",
    "oxide_fraction": "oxide fraction",
    "oxide_share_of_solid": "oxide share of the solid",
    "oxide_coverage": "oxide coverage",
    "wetted_oxide_share": "oxide share of the pore wall",
    "bright_fraction": "brighter than metal",
    "specific_surface": "metal surface per volume",
    "oxide_thickness": "mean oxide thickness",
    "pore_size": "mean pore chord",
    "metal_size": "mean metal chord",
}
HEADLINE = ("porosity", "oxide_coverage", "oxide_fraction", "oxide_thickness")
TILE = 512


@dataclass(frozen=True, slots=True)
class Shown:
    """One number of a field or a sample."""

    words: str
    estimate: Estimate
    percent: bool
    method: str
    limit: str = ""
    parts: str = ""


def shown_of(
    rows: Sequence[FieldMeasure | SampleMeasure], result: SectionResult | None = None
) -> list[tuple[str, Shown]]:
    found = []
    for row in rows:
        key = key_of(row.quantity)
        limit = _limit(result) if result and key == "oxide_coverage" else ""
        unit = row.unit.replace("um", "µm")
        estimate = Estimate(row.value, row.low, row.high, unit, row.n, row.method)
        found.append(
            (key, Shown(WORDS.get(key, key), estimate, row.unit == "1", row.method, limit, _parts(row)))
        )
    order = list(WORDS)
    return sorted(found, key=lambda one: order.index(one[0]) if one[0] in order else len(order))


def key_of(quantity: str) -> str:
    """Give a quantity without its unit."""
    for suffix in ("_per_um", "_per_px", "_um", "_px"):
        quantity = quantity.removesuffix(suffix)
    return quantity


def _limit(result: SectionResult) -> str:
    pixels = result.levels["detection_limit_px"]
    size = result.sums["pixel_size_um"]
    words = f"{pixels * size:.2g} µm" if size else f"{pixels:.1f} px"
    return f"oxide thinner than {words} is not seen"


def _parts(row: FieldMeasure | SampleMeasure) -> str:
    """Say how much of the interval is sampling and how much the levels."""
    details = row.details
    scale, unit = (100, " points") if row.unit == "1" else (1, f" {row.unit.replace('um', 'µm')}")
    if "half_width_sampling" in details:
        return (
            f"± {details['half_width_sampling'] * scale:.2g}{unit} from fields, "
            f"± {details['half_width_levels'] * scale:.2g}{unit} from levels"
        )
    if details.get("u_sampling") is not None and details.get("u_threshold") is not None:
        return (
            f"± {1.96 * details['u_sampling'] * scale:.2g}{unit} from the field, "
            f"± {1.96 * details['u_threshold'] * scale:.2g}{unit} from levels"
        )
    return ""


def count_levels(width: int, height: int) -> int:
    """Count the halvings of a picture until one tile holds it."""
    levels = 1
    while max(width, height) > TILE:
        width, height, levels = max(width // 2, 1), max(height // 2, 1), levels + 1
    return levels
