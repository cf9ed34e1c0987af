"""Results as plain data for the books, and back."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from teardown.formats.pixel_size import ScaleCandidate
from teardown.imaging.measure.examining import Examined, Regions
from teardown.science.errors import Remark
from teardown.science.stereology.bodies import Strictness
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.evening import Known
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.flags import directional_intercepts
from teardown.science.stereology.gaps import GapCurve
from teardown.science.stereology.pooling import FieldSummary
from teardown.science.stereology.ratios import Parts
from teardown.science.stereology.regions import Strip
from teardown.science.stereology.sensitivity import Slopes, Turned
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.shading import Gain
from teardown.science.stereology.structure import Structure

KNOBS = ("oxide", "ends", "edge")
NAMES = {"oxide_thickness": "oxide_thickness", "pore_chord": "pore_size", "metal_chord": "metal_size"}


def quantity_name(key: str, unit: str) -> str:
    """Give the name a quantity has in the books: lengths carry their unit."""
    name = NAMES.get(key, key)
    return {
        "1": name,
        "um": f"{name}_um",
        "px": f"{name}_px",
        "1/um": f"{name}_per_um",
        "1/px": f"{name}_per_px",
    }[unit]


def flag_data(flag: Remark) -> dict[str, Any]:
    """Give a flag as plain data."""
    return {
        "code": flag.code,
        "level": flag.level,
        "message": flag.message,
        "value": flag.value,
        "remedy": flag.remedy,
    }


def levels_data(result: FieldResult) -> dict[str, Any]:
    """Give the levels and what stands with them."""
    levels = result.levels
    return {
        "pore": levels.pore,
        "oxides": list(levels.oxides),
        "metal": levels.metal,
        "bright": levels.bright,
        "source": levels.source,
        "standard_error": levels.standard_error,
        "thresholds": list(levels.thresholds) if levels.thresholds else None,
        "places": list(levels.oxide_places),
        "edge_sigma_px": result.edge_sigma_px,
        "false_rim_px": result.false_rim_px,
        "noise": result.noise,
        "noise_left": result.noise_left,
        "gain": list(result.gain.coefficients),
        "gain_peak_to_peak": result.gain.peak_to_peak,
        "detection_limit_px": result.detection_limit_px,
        "unresolved_share": result.unresolved_share,
        "trained": result.trained,
        "version": result.version,
        "settings": result.settings.as_dict(),
    }


def sums_data(examined: Examined) -> dict[str, Any]:
    """Give what pooling and checking need: parts, errors, and the sums of every tile."""
    result, strip = examined.result, examined.strip
    return {
        "parts": {key: [part.above, part.below] for key, part in result.parts.items()},
        "sampling_error": result.sampling_error,
        "threshold_uncertainty": result.threshold_uncertainty,
        "half_range": result.half_range,
        "slopes": asdict(result.slopes) if result.slopes else None,
        "open_below": result.open_below,
        "open_above": result.open_above,
        "pixel_size_um": result.pixel_size_um,
        "histogram": [round(share, 6) for share in result.histogram],
        "integral_range_px": result.integral_range_px,
        "rims": asdict(result.rims) if result.rims else None,
        "near_coverage": result.near_coverage,
        "gap_curve": asdict(result.gap_curve),
        "pore_openings": result.pore_openings,
        **structure_data(result.structure),
        "outline_factor": result.outline_factor,
        "area_px": result.sums.area_px,
        "rose": list(directional_intercepts(result.sums)),
        "tile_px": result.settings.tile_px,
        "tiles": [{"counts": tile.counts.tolist(), "pairs": tile.pairs.tolist()} for tile in result.tiles],
        "strip": [strip.top, strip.bottom] if strip else None,
        "about": examined.picture.header.about,
    }


def structure_data(structure: Structure) -> dict[str, Any]:
    """Give how pore and metal are spread: two-point correlation, chords, openings; lengths in pixels."""
    correlation = {
        name: {
            "chance": [round(chance, 6) for chance in found.chance],
            "fraction": found.fraction,
            "range_px": found.range_px,
        }
        for name, found in (("pore", structure.pore), ("metal", structure.metal))
        if found is not None
    }
    known = structure.pore or structure.metal
    return {
        "correlation": {"lags_px": list(known.lags_px) if known else [], **correlation},
        "chords": {
            "step_px": structure.pore_chords.step_px,
            "pore": asdict(structure.pore_chords),
            "metal": asdict(structure.metal_chords),
        },
        "openings": {
            "sizes_px": list(structure.opening_sizes_px),
            "passed": [round(share, 6) for share in structure.opening_passed],
        },
        "structure_area_px": structure.area_px,
    }


def read_gaps(sums: Mapping[str, Any]) -> GapCurve | None:
    """Read back how coverage grows with the gap allowed; None where an earlier result did not keep it."""
    kept = sums.get("gap_curve")
    return GapCurve(kept["touching"], tuple(kept["steps"]), tuple(kept["shares"])) if kept else None


def read_known(asked: Mapping[str, Any] | None) -> Known | None:
    """Read the noise, the gain field and the slopes that an earlier run on the same picture found."""
    if not asked:
        return None
    gain, slopes = Gain(tuple(float(term) for term in asked["gain"])), asked.get("slopes")
    return Known(float(asked["noise"]), gain, _read_slopes(slopes) if slopes else None)


def _read_slopes(kept: Mapping[str, Any]) -> Slopes:
    levels = read_levels(kept["levels"])
    assert levels is not None  # slopes are kept with the levels that they were told at
    oxide, ends, edge = (Turned(kept[name]["step"], dict(kept[name]["half"])) for name in KNOBS)
    return Slopes(levels, kept["edge_sigma_px"], kept["sure"], oxide, ends, edge)


def read_summary(sums: Mapping[str, Any]) -> FieldSummary:
    """Read back what pooling needs."""
    return FieldSummary(
        {key: Parts(*part) for key, part in sums["parts"].items()},
        sums["sampling_error"],
        sums["threshold_uncertainty"],
        sums["pixel_size_um"],
        sums.get("open_below", {}),
        sums.get("open_above", {}),
    )


def read_levels(asked: Mapping[str, Any] | None) -> Levels | None:
    """Read pinned or manual levels that a run was asked with."""
    if not asked:
        return None
    thresholds = asked.get("thresholds")
    return Levels(
        asked["pore"],
        tuple(asked["oxides"]),
        asked["metal"],
        asked.get("bright"),
        asked.get("source", "pinned"),
        asked.get("standard_error", 0.0),
        (float(thresholds[0]), float(thresholds[1])) if thresholds else None,
    )


def read_scale(asked: Mapping[str, Any] | None) -> ScaleCandidate | None:
    """Read the scale that a person gave."""
    if not asked:
        return None
    return ScaleCandidate(asked["source"], asked["pixel_width_um"], asked["pixel_height_um"])


def read_hints(asked: Sequence[Mapping[str, Any]] | None) -> list[ScaleCandidate]:
    """Read the hints of a pixel's size that lay beside the file."""
    return [
        ScaleCandidate(one["source"], one["pixel_width_um"], one["pixel_height_um"]) for one in asked or ()
    ]


def read_settings(asked: Mapping[str, Any]) -> Settings:
    """Read the settings that a run was asked with; what is not said keeps its default."""
    given = dict(asked.get("settings", {}))
    strictness = Strictness(**given.pop("strictness", {}))
    return Settings(strictness=strictness, edge_sigma_px=asked.get("edge_sigma_px"), **given)


def read_regions(asked: Mapping[str, Any]) -> Regions:
    """Read the regions that a run was asked with."""
    strip = asked.get("strip")
    return Regions(
        outlines=tuple(asked.get("outline", ())),
        exclusions=tuple(asked.get("exclusion", ())),
        faces=tuple(asked.get("face", ())),
        strip=Strip(int(strip[0]), int(strip[1])) if strip else None,
        strip_confirmed=bool(asked.get("strip_confirmed", False)),
    )
