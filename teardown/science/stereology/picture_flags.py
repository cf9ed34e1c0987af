"""What is wrong with a picture as such: light, sharpness, glowing edges, films too thin to be seen."""

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Remark
from teardown.science.stereology.classes import BRIGHT, METAL, PORE
from teardown.science.stereology.edge_shapes import EdgeShape
from teardown.science.stereology.facts import Facts, remark

# Where only the tips of noise lie beyond an end of the scale the numbers hold: with up to an eighth of the
# pores black, or of the metal white, porosity of 13 pictures of known truth moved by 0.1 point at most and
# coverage by 0.5. Black or white ground is another thing: a frame or a label that was taken for section
MOST_SATURATED, MOST_TIPS = 0.005, 0.1
# the calmed picture of a blur of 2 px reads 2.0 to 2.2 px, one of 3 px from 2.28 on
WIDEST_EDGE_PX = 2.2
# shares of the contrast; pore beside solid rose by up to 0.02 where nothing glowed, and is asked last
METAL_GLOWS, PORE_GLOWS = 0.012, 0.022
# on phantoms and sponges within the working range edges leaned by -10 to +2 % and spread by up to 30 %; under
# films of two pixels they leaned by 14 % or more, or spread by 33 % or more; glowing ones by 6 % or more
MOST_LEAN, MOST_SPREAD, LEAST_EDGE, MOST_GLOW = 0.12, 0.32, 0.01, 0.04


def of_light(facts: Facts) -> list[Remark]:
    found = _saturated(facts)
    swing = facts.gain.peak_to_peak
    if swing > 0.6:
        found.append(
            remark(
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
            remark(
                "curtaining",
                "warning",
                f"Columns differ by {stripes:.1%} of the contrast, as a milled face does.",
                stripes,
                "Polish or mill again, or read the oxide with care.",
            )
        )
    return found


def _saturated(facts: Facts) -> list[Remark]:
    """Say how much lies at an end of the scale; a warning where more than the tips of noise were cut off."""
    counts, area = facts.sums.counts, max(facts.sums.area_px, 1)
    bright = counts[BRIGHT] / area  # a burnt-out label or particle is brighter than metal
    found = []
    for name, share, solid, of_class, words, remedy in (
        ("white", facts.white, max(facts.solid[1], bright), counts[METAL] / area, "burnt out", "Lower"),
        ("black", facts.black, facts.solid[0], counts[PORE] / area, "fully black", "Raise"),
    ):
        if share <= MOST_SATURATED:
            continue
        tips = solid <= MOST_SATURATED and share <= MOST_TIPS * of_class
        by_noise = ", by noise alone: the numbers hold" if tips else ""
        found.append(
            remark(
                f"saturated_{name}",
                "info" if tips else "warning",
                f"{share:.1%} of the pixels are {words}{by_noise}.",
                share,
                f"{remedy} the brightness a little for the next pictures."
                if tips
                else "Leave out what is no section, as a frame or a label; else"
                f" {remedy.lower()} the brightness and take the picture again.",
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


def of_resolution(facts: Facts) -> list[Remark]:
    sigma = facts.search.edge_sigma_px
    found = []
    if sigma > WIDEST_EDGE_PX:
        found.append(
            remark(
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
            remark(
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
                remark(
                    "few_pixels_per_feature",
                    "warning",
                    f"The mean {words} chord is only {pixels:.1f} pixels.",
                    pixels,
                    "Scan at a higher magnification.",
                )
            )
    if facts.unresolved_share > 0.02:
        found.append(
            remark(
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


def of_edge_shape(facts: Facts) -> list[Remark]:
    shape = facts.edges
    if shape is None or not (hidden_film(shape) or shape.lean > MOST_GLOW):
        return []
    size = facts.pixel_size_um
    limit = max(3 * facts.search.edge_sigma_px, 3.5)
    thin = f"{limit * size:.2g} um" if size else f"{limit:.1f} pixels"
    if not hidden_film(shape):
        return [
            remark(
                "charging",
                "warning",
                f"Edges are {shape.lean:.0%} steeper towards metal than towards pore: they seem to glow.",
                shape.lean,
                "Coat the section or lower the voltage; porosity reads low by one to three points.",
            )
        ]
    return [
        remark(
            "hidden_film",
            "warning",
            f"Edges that read as bare are no plain blurred steps (lean {shape.lean:+.0%}, spread"
            f" {shape.spread:.0%}): films thinner than {thin} may lie on them, or they glow.",
            shape.lean if abs(shape.lean) > MOST_LEAN else shape.spread,
            "Coverage is at least what is told, and may be anything up to all; thin films count as pore or"
            " metal. Scan at a higher magnification.",
        )
    ]


def of_charging(facts: Facts) -> list[Remark]:
    """Compare metal near pore with metal within; and where no bare metal shows it, pore near solid with open
    pore."""
    levels = facts.search.levels
    # the blur itself darkens metal within two sigma of a pore
    rise = _rise(facts, METAL, facts.labels != PORE, 2.0 * facts.search.edge_sigma_px, (1.5, 8))
    if rise is not None and rise > METAL_GLOWS * levels.contrast:
        words = f"Metal is {rise / levels.contrast:.1%} of the contrast brighter beside pores than within"
        return [_charging(words, rise / levels.contrast)]
    if facts.edges is not None:
        return []
    rise = _rise(facts, PORE, facts.labels == PORE, 2.2 * facts.search.edge_sigma_px + 1, (2, 8))
    if rise is not None and rise > PORE_GLOWS * levels.contrast:
        words = f"Pore is {rise / levels.contrast:.1%} of the contrast brighter beside solid than within"
        return [_charging(words, rise / levels.contrast)]
    return []


def _rise(
    facts: Facts, code: int, side: NDArray[np.bool_], beyond: float, reach: tuple[float, float]
) -> float | None:
    """Give how much brighter a class is in a narrow band beside the other side than deep within; None where
    there is too little of either."""
    depth = cv2.distanceTransform(side.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    mine = facts.labels == code
    near = mine & (depth > beyond) & (depth <= beyond + reach[0])
    deep = mine & (depth > (reach[1] if code == METAL else beyond + reach[1]))
    if np.count_nonzero(near) < 200 or np.count_nonzero(deep) < 200:
        return None
    return float(np.median(facts.calm[near]) - np.median(facts.calm[deep]))


def _charging(words: str, rise: float) -> Remark:
    return remark(
        "charging",
        "warning",
        f"{words}: edges glow.",
        rise,
        "Coat the section or lower the voltage; porosity reads low by one to three points.",
    )
