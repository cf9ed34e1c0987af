"""What a reader of a field's numbers must know: each flag has its number, a sentence, and what to do."""

from collections.abc import Mapping

import numpy as np

from teardown.science.errors import Remark
from teardown.science.stereology.classes import BRIGHT, METAL, OXIDE, PORE
from teardown.science.stereology.facts import Facts, enclosed_bright, remark, scarce_metal, scattered_oxide
from teardown.science.stereology.interfaces import Sums
from teardown.science.stereology.outline import MUCH_ADDED, doubt_of
from teardown.science.stereology.picture_flags import (
    of_charging,
    of_edge_shape,
    of_light,
    of_resolution,
)

# pictures without oxide showed up to 0.6 %, rarely 2 %; oxide at 95 % of metal's grey from 1.2 % on
MOST_SHOULDER = 0.01
# of 30 pictures with plates or shells six read porosity more than half a point too low: five of them tell
# 0.03 or more, and of the others five; pictures of rims alone tell nothing
MOST_LOWERED = 0.03
# flags that speak of how much was seen, not of how good the picture is
SAMPLING = frozenset({"field_too_small", "few_fields", "fields_disagree"})
# flags that hold for some quantities alone, all others of the picture being sound
OF_SOME = {"outline_uncertain": ("specific_surface", "oxide_thickness")}


def raise_flags(facts: Facts) -> tuple[Remark, ...]:
    """Check a measured field for everything that would mislead its reader."""
    by_grey = facts.trained is None
    found = [
        *of_light(facts),
        *(_of_levels(facts) if by_grey else _of_training(facts)),
        *of_resolution(facts),
        *(of_charging(facts) or of_edge_shape(facts) if by_grey else []),
        *_of_lifted_oxide(facts),
        *_of_outline(facts),
        *_of_doubt(facts),
        *_of_scale(facts),
    ]
    return tuple(found)


def _of_levels(facts: Facts) -> list[Remark]:
    search = facts.search
    levels = search.levels
    highest, lowest = max(levels.oxide_places), min(levels.oxide_places)
    found = []
    if levels.source == "prior":
        found.append(
            remark(
                "levels_from_prior",
                "info",
                "Too little oxide was seen to read its grey; 70 % of the way to metal was taken, and the"
                " solid that was seen was taken for metal.",
                levels.oxide_places[0],
                "Pin the session's levels on a field with metal and thick oxide, above all where iron may be"
                " oxidised through.",
            )
        )
    if levels.source == "manual":
        found.append(
            remark(
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
            remark(
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
            remark(
                "oxide_not_separable",
                "error",
                f"Metal has a shoulder of {search.shoulder:.1%} on its dark side: oxide may hide in it.",
                search.shoulder,
                "Raise the contrast; take the coverage as a lower bound.",
            )
        )
    if levels.source != "prior" and (lowest < 0.30 or highest > 0.92):
        found.append(
            remark(
                "oxide_not_separable",
                "error",
                f"The oxide's grey lies at {highest:.0%} of the way from pore to metal.",
                highest,
                "Pin the levels by hand, or train on strokes.",
            )
        )
    if len(levels.oxides) > 1:
        found.append(
            remark(
                "two_oxides",
                "info",
                f"Two oxide greys were found, at {lowest:.0%} and {highest:.0%} of the way to metal.",
                highest - lowest,
                "Both count as oxide; the smaller may be hydrous.",
            )
        )
    found += _of_which_is_metal(facts)
    if search.lowered > MOST_LOWERED:
        found.append(
            remark(
                "oxide_in_plates",
                "warning",
                "Oxide lies in thin plates or lifted shells: through the blur its grey reads about"
                f" {search.lowered:.0%} of the contrast too low, and porosity up to a point or two with it.",
                search.lowered,
                "Pin the session's levels on a field with thick oxide, or scan at a higher magnification.",
            )
        )
    scattered = scattered_oxide(facts)
    if scattered:
        found.append(
            remark(
                "oxide_scattered",
                "warning",
                f"The oxide's grey is close to metal's, and {scattered:.1%} of the metal bears it in small"
                " bodies, as corners and clefts of grains would show.",
                scattered,
                "Take the coverage as between what is told less this and what is told; scan slower.",
            )
        )
    if facts.as_read is not None and levels.source != "prior":
        found.append(
            remark(
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
            remark(
                "no_oxide_detected",
                "info",
                f"No oxide thicker than {thin} was surely seen; {most:.1%} of the metal looks like it.",
                coverage.value,
                "Take it as none above the detection limit; thinner films are not seen.",
            )
        )
    return found


def _of_which_is_metal(facts: Facts) -> list[Remark]:
    """Say where the greys alone leave open which of them is metal."""
    found = []
    bright, metal = (float(facts.sums.counts[code] / max(facts.sums.area_px, 1)) for code in (BRIGHT, METAL))
    if enclosed_bright(facts):
        found.append(
            remark(
                "bright_within_metal",
                "warning",
                f"What is brighter than metal, {bright:.1%} of the area, lies within it almost everywhere:"
                " it may be the last of the metal, and what is called metal its oxide.",
                bright,
                "Hold a grain against a known metal; if it is metal, pin the session's levels on it.",
            )
        )
    if scarce_metal(facts):
        found.append(
            remark(
                "metal_scarce",
                "warning",
                f"What is called metal, {metal:.1%} of the area, is little beside the oxide and lies"
                " anywhere: it may be particles brighter than metal, and the metal be called oxide.",
                metal,
                "Hold a grain against a known metal, and pin the session's levels on it.",
            )
        )
    return found


def _of_training(facts: Facts) -> list[Remark]:
    accuracy = facts.trained or 0.0
    return [
        remark(
            "trained_classifier",
            "info" if accuracy >= 0.9 else "warning",
            f"Classes are by strokes; trees that had not seen them called {accuracy:.0%} of strokes rightly.",
            accuracy,
            "Strokes hold few edges: hold the coverage against a count by eye.",
        )
    ]


def _of_lifted_oxide(facts: Facts) -> list[Remark]:
    coverage = facts.estimates.get("oxide_coverage")
    return [] if coverage is None else lifted_oxide(coverage.value, facts.near)


def lifted_oxide(coverage: float, near: Mapping[str, float]) -> list[Remark]:
    """Say that oxide stands near much of the bare metal; ``near`` is the coverage by gap allowed, in um."""
    if not near:
        return []
    reach, widest = max(near.items(), key=lambda one: float(one[0]))
    if widest - coverage <= 0.10:
        return []
    return [
        remark(
            "lifted_oxide",
            "warning",
            f"Counting oxide within {reach} um of the metal, coverage would be {widest:.0%}.",
            widest - coverage,
            "The film may have lifted off as it dried; give both numbers.",
        )
    ]


def _of_outline(facts: Facts) -> list[Remark]:
    added = facts.outline_factor - 1
    if added <= MUCH_ADDED:
        return []
    return [
        remark(
            "outline_uncertain",
            "warning",
            f"The metal outline reads {added:.0%} short through the blur; what was added for clefts is known"
            f" to {1.96 * doubt_of(facts.outline_factor):.0%} of the whole.",
            added,
            "Take surface and oxide thickness with their intervals, or scan at a higher magnification; all"
            " else holds.",
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
                remark(
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
            remark(
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
            remark(
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
        remark(
            "unscaled",
            "info",
            "The size of a pixel is not known; lengths are in pixels.",
            None,
            "Give the scale; the picture need not be measured again.",
        )
    ]
