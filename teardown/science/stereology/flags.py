"""What a reader of a field's numbers must know: each flag has its number, a sentence, and what to do."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import METAL, OXIDE, PORE
from teardown.science.stereology.edge_shapes import EdgeShape
from teardown.science.stereology.interfaces import Sums
from teardown.science.stereology.levels import LevelSearch
from teardown.science.stereology.noise import Grey
from teardown.science.stereology.rims import Thickness
from teardown.science.stereology.sensitivity import Sensitivity
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.shading import Gain

# the calmed picture of a blur of 2 px reads 2.0 to 2.2 px, one of 3 px from 2.28 on
WIDEST_EDGE_PX = 2.2
MOST_SHOULDER = 0.0145
# on phantoms and sponges within the working range edges leaned by -10 to +2 % and spread by up to 30 %; under
# films of two pixels they leaned by 14 % or more, or spread by 33 % or more; glowing ones by 6 % or more
MOST_LEAN, MOST_SPREAD, LEAST_EDGE, MOST_GLOW = 0.12, 0.32, 0.01, 0.04
# flags that speak of how much was seen, not of how good the picture is
SAMPLING = frozenset({"field_too_small", "few_fields", "fields_disagree"})


@dataclass(frozen=True, slots=True)
class Facts:
    """All that is known of a field once it is measured.

    ``calm`` and ``labels`` are the greys and classes of the whole, or of the middle of a large picture;
    ``trained`` the out-of-bag accuracy where classes are by strokes; ``edges`` the shape of edges called
    bare; ``as_read`` the coverage that was seen and not called oxide.
    """

    white: float
    black: float
    calm: Grey
    labels: NDArray[np.uint8]
    gain: Gain
    noise: float
    search: LevelSearch
    unresolved_share: float
    sums: Sums
    estimates: dict[str, Estimate]
    doubt: Sensitivity
    pixel_size_um: float | None
    settings: Settings
    rims: Thickness | None
    near: dict[str, float]
    trained: float | None = None
    edges: EdgeShape | None = None
    as_read: float | None = None


def raise_flags(facts: Facts) -> tuple[Remark, ...]:
    """Check a measured field for everything that would mislead its reader."""
    by_grey = facts.trained is None
    found = [
        *_of_light(facts),
        *(_of_levels(facts) if by_grey else _of_training(facts)),
        *_of_resolution(facts),
        *(_of_charging(facts) or _of_edge_shape(facts) if by_grey else []),
        *_of_lifted_oxide(facts),
        *_of_doubt(facts),
        *_of_scale(facts),
    ]
    return tuple(found)


def _of_light(facts: Facts) -> list[Remark]:
    white, black = facts.white, facts.black
    found = []
    if white > 0.005:
        found.append(
            _remark(
                "saturated_white",
                "warning",
                f"{white:.1%} of the pixels are burnt out.",
                white,
                "Lower brightness or contrast and take the picture again.",
            )
        )
    if black > 0.005:
        found.append(
            _remark(
                "saturated_black",
                "warning",
                f"{black:.1%} of the pixels are fully black.",
                black,
                "Raise the brightness and take the picture again.",
            )
        )
    swing = facts.gain.peak_to_peak
    if swing > 0.6:
        found.append(
            _remark(
                "gain_too_large",
                "warning",
                f"The field varies by {swing:.0%} from its brightest to its darkest part.",
                swing,
                "Even out the detector, or divide by a picture of a blank.",
            )
        )
    stripes = _curtaining(facts) if facts.trained is None else 0.0
    if stripes > 0.02:
        found.append(
            _remark(
                "curtaining",
                "warning",
                f"Columns differ by {stripes:.1%} of the contrast, as a milled face does.",
                stripes,
                "Polish or mill again, or read the oxide with care.",
            )
        )
    return found


def _curtaining(facts: Facts) -> float:
    """Scatter of the metal's grey from column to column, beyond what noise gives, as a share of the
    contrast."""
    metal = facts.labels == METAL
    deep = cv2.erode(metal.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    count = deep.sum(axis=0)
    enough = count > 20
    if np.count_nonzero(enough) < 50:
        return 0.0
    mean = (np.where(deep, facts.calm, 0).sum(axis=0)[enough] / count[enough]).astype(np.float32)
    # what is left of broad unevenness is no curtain
    narrow = mean - cv2.blur(mean[None, :], (31, 1))[0]
    return float(1.4826 * np.median(np.abs(narrow)) / facts.search.levels.contrast)


def _of_levels(facts: Facts) -> list[Remark]:
    search = facts.search
    levels = search.levels
    highest, lowest = max(levels.oxide_places), min(levels.oxide_places)
    found = []
    if levels.source == "prior":
        found.append(
            _remark(
                "levels_from_prior",
                "info",
                "Too little oxide was seen to read its grey; 70 % of the way to metal was taken.",
                levels.oxide_places[0],
                "Pin the session's levels on a field with thick oxide.",
            )
        )
    if levels.source == "manual":
        found.append(
            _remark(
                "manual_thresholds",
                "info",
                "A person set the levels of this field.",
                highest,
                "Compare with the automatic levels, or with a count by eye.",
            )
        )
    separation = (1 - highest) / max(search.noise_left, 1e-6)
    if levels.source != "prior" and separation < 3:
        found.append(
            _remark(
                "low_contrast",
                "error" if separation < 2 else "warning",
                f"Oxide and metal are only {separation:.1f} noise widths apart.",
                separation,
                "Scan slower, or raise the contrast.",
            )
        )
    coverage = facts.estimates.get("oxide_coverage")
    little = levels.source == "prior" or (coverage is not None and coverage.value < 0.3)
    if search.shoulder > MOST_SHOULDER and little and highest < 0.86:
        found.append(
            _remark(
                "oxide_not_separable",
                "error",
                f"Metal has a shoulder of {search.shoulder:.1%} on its dark side: oxide may hide in it.",
                search.shoulder,
                "Raise the contrast; take the coverage as a lower bound.",
            )
        )
    if levels.source != "prior" and (lowest < 0.30 or highest > 0.92):
        found.append(
            _remark(
                "oxide_not_separable",
                "error",
                f"The oxide's grey lies at {highest:.0%} of the way from pore to metal.",
                highest,
                "Pin the levels by hand, or train on strokes.",
            )
        )
    if len(levels.oxides) > 1:
        found.append(
            _remark(
                "two_oxides",
                "info",
                f"Two oxide greys were found, at {lowest:.0%} and {highest:.0%} of the way to metal.",
                highest - lowest,
                "Both count as oxide; the smaller may be hydrous.",
            )
        )
    if facts.as_read is not None and levels.source != "prior":
        found.append(
            _remark(
                "oxide_uncertain",
                "warning",
                "What has the grey of oxide lies in small bodies without level ground, on"
                f" {facts.as_read:.1%} of the metal; it was not called oxide.",
                facts.as_read,
                "Take the coverage as between none and this; pin the levels on a field with thick oxide.",
            )
        )
    if coverage is not None and coverage.value < 0.04:
        size = facts.pixel_size_um
        limit = max(3 * search.edge_sigma_px, 3.5)
        thin = f"{limit * size:.2g} um" if size else f"{limit:.1f} pixels"
        most = max(facts.as_read or 0.0, coverage.value)
        found.append(
            _remark(
                "no_oxide_detected",
                "info",
                f"No oxide thicker than {thin} was surely seen; {most:.1%} of the metal looks like it.",
                coverage.value,
                "Take it as none above the detection limit; thinner films are not seen.",
            )
        )
    return found


def _of_training(facts: Facts) -> list[Remark]:
    accuracy = facts.trained or 0.0
    return [
        _remark(
            "trained_classifier",
            "info" if accuracy >= 0.9 else "warning",
            f"Classes are by strokes; trees that had not seen them called {accuracy:.0%} of strokes rightly.",
            accuracy,
            "Strokes hold few edges: hold the coverage against a count by eye.",
        )
    ]


def _of_resolution(facts: Facts) -> list[Remark]:
    sigma = facts.search.edge_sigma_px
    found = []
    if sigma > WIDEST_EDGE_PX:
        found.append(
            _remark(
                "edge_too_wide",
                "error",
                f"Edges are blurred over {sigma:.1f} pixels.",
                sigma,
                "Focus again, or scan at a higher magnification.",
            )
        )
    thickness = facts.rims.median_px if facts.rims else None
    limit = max(3 * sigma, 3.5)
    if thickness is not None and thickness < limit:
        found.append(
            _remark(
                "oxide_below_limit",
                "warning",
                f"Rims are about {thickness:.1f} pixels thick; below {limit:.1f} they begin to be missed.",
                thickness,
                "Scan at a higher magnification; the coverage is a lower bound.",
            )
        )
    for key, words in (("pore_chord", "pore"), ("metal_chord", "metal")):
        chord = facts.estimates.get(key)
        pixels = chord.value / (facts.pixel_size_um or 1) if chord else None
        if pixels is not None and pixels < 8:
            found.append(
                _remark(
                    "few_pixels_per_feature",
                    "warning",
                    f"The mean {words} chord is only {pixels:.1f} pixels.",
                    pixels,
                    "Scan at a higher magnification.",
                )
            )
    if facts.unresolved_share > 0.02:
        found.append(
            _remark(
                "unresolved_gaps",
                "warning",
                f"{facts.unresolved_share:.1%} of the area lies in gaps too narrow to read.",
                facts.unresolved_share,
                "Scan at a higher magnification.",
            )
        )
    return found


def hidden_film(shape: EdgeShape | None) -> bool:
    """Tell whether edges called bare are bent as by a film, or spread more than noise and corners do."""
    return shape is not None and (
        abs(shape.lean) > MOST_LEAN or (shape.spread > MOST_SPREAD and shape.share > LEAST_EDGE)
    )


def _of_edge_shape(facts: Facts) -> list[Remark]:
    shape = facts.edges
    if shape is None or not (hidden_film(shape) or shape.lean > MOST_GLOW):
        return []
    size = facts.pixel_size_um
    limit = max(3 * facts.search.edge_sigma_px, 3.5)
    thin = f"{limit * size:.2g} um" if size else f"{limit:.1f} pixels"
    if not hidden_film(shape):
        return [
            _remark(
                "charging",
                "warning",
                f"Edges are {shape.lean:.0%} steeper towards metal than towards pore: they seem to glow.",
                shape.lean,
                "Coat the section or lower the voltage; porosity reads low by one to three points.",
            )
        ]
    return [
        _remark(
            "hidden_film",
            "warning",
            f"Edges that read as bare are no plain blurred steps (lean {shape.lean:+.0%}, spread"
            f" {shape.spread:.0%}): films thinner than {thin} may lie on them, or they glow.",
            shape.lean if abs(shape.lean) > MOST_LEAN else shape.spread,
            "Coverage is at least what is told, and may be anything up to all; thin films count as pore or"
            " metal. Scan at a higher magnification.",
        )
    ]


def _of_lifted_oxide(facts: Facts) -> list[Remark]:
    coverage = facts.estimates.get("oxide_coverage")
    if coverage is None or not facts.near:
        return []
    reach, widest = list(facts.near.items())[-1]
    if widest - coverage.value <= 0.10:
        return []
    return [
        _remark(
            "lifted_oxide",
            "warning",
            f"Counting oxide within {reach} um of the metal, coverage would be {widest:.0%}.",
            widest - coverage.value,
            "The film may have lifted off as it dried; give both numbers.",
        )
    ]


def _of_charging(facts: Facts) -> list[Remark]:
    """Compare metal near pore with metal within, and pore near metal with open pore."""
    labels = facts.labels
    levels = facts.search.levels
    solid_depth = cv2.distanceTransform((labels != PORE).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    sigma = facts.search.edge_sigma_px
    metal = labels == METAL
    # the blur itself darkens metal within two sigma of a pore
    near = metal & (solid_depth > 2.0 * sigma) & (solid_depth <= 2.0 * sigma + 1.5)
    deep = metal & (solid_depth > 8)
    if np.count_nonzero(near) < 200 or np.count_nonzero(deep) < 200:
        return []
    rise = float(np.median(facts.calm[near]) - np.median(facts.calm[deep])) / levels.contrast
    if rise <= 0.012:
        return []
    return [
        _remark(
            "charging",
            "warning",
            f"Metal is {rise:.1%} of the contrast brighter beside pores than within: edges glow.",
            rise,
            "Coat the section or lower the voltage; porosity reads low by one to three points.",
        )
    ]


def _of_doubt(facts: Facts) -> list[Remark]:
    found = []
    for key, limit, words in (
        ("porosity", 0.01, "Porosity"),
        ("oxide_fraction", 0.01, "Oxide fraction"),
        ("oxide_coverage", 0.05, "Coverage"),
    ):
        half = facts.doubt.half_range.get(key, 0.0)
        if half > limit:
            found.append(
                _remark(
                    "sensitivity_high",
                    "warning",
                    f"{words} moves by {half * 100:.1f} points when the levels move by a twentieth.",
                    half,
                    "Pin the session's levels, or take sharper and slower pictures.",
                )
            )
    porosity = facts.estimates.get("porosity")
    goal = facts.settings.goal_half_width
    if porosity is not None and porosity.half_width > goal:
        found.append(
            _remark(
                "field_too_small",
                "info",
                f"This field alone leaves porosity open by {porosity.half_width * 100:.1f} points.",
                porosity.half_width,
                "Take more fields of the same section.",
            )
        )
    rose = directional_intercepts(facts.sums)
    if min(rose) > 0 and max(rose) / min(rose) > 1.2:
        found.append(
            _remark(
                "anisotropic",
                "info",
                f"The metal outline is crossed {max(rose) / min(rose):.2f} times as often one way.",
                max(rose) / min(rose),
                "Surface per volume needs sections in several directions.",
            )
        )
    return found


def directional_intercepts(sums: Sums) -> tuple[float, ...]:
    """Crossings of the metal outline per pixel of test line: along rows, columns and the two diagonals."""
    crossings = sums.transitions(METAL, OXIDE) + sums.transitions(METAL, PORE)
    area = max(sums.area_px, 1)
    spacing = np.array([1, 1, np.sqrt(2), np.sqrt(2)])
    return tuple(float(v) for v in crossings[:4] / spacing / area)


def _of_scale(facts: Facts) -> list[Remark]:
    if facts.pixel_size_um is not None:
        return []
    return [
        _remark(
            "unscaled",
            "info",
            "The size of a pixel is not known; lengths are in pixels.",
            None,
            "Give the scale; the picture need not be measured again.",
        )
    ]


def _remark(code: str, level: str, message: str, value: float | None, remedy: str) -> Remark:
    return Remark(code, level, message, value, "", remedy)  # type: ignore[arg-type]
