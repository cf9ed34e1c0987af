"""Hold the measuring of micrographs to its goals, on phantoms of known truth, and say how fast it is."""

import json
import time
from argparse import ArgumentParser
from typing import Any

import numpy as np
from django.core.management.base import BaseCommand

from teardown.science.errors import MeasurementError
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import FieldResult, measure_field
from teardown.science.stereology.flags import SAMPLING
from teardown.science.stereology.phantoms import Microstructure, Truth, draw_section

SHAPES = ("disc", "polygon", "needle")


class Command(BaseCommand):
    """Errors in points of percent: bias, root mean square, median, 95 % quantile; flags; processor
    seconds."""

    help = "Measure random phantom sections and compare with their truth; time a large field."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take how many, how large, and from which seed."""
        parser.add_argument("--images", type=int, default=80)
        parser.add_argument("--side", type=int, default=640, help="Side of the pictures, in pixels.")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--speed", action="store_true", help="Time a field of 4096 by 4096 as well.")
        parser.add_argument("--json", action="store_true")

    def handle(self, *_: Any, **options: Any) -> None:
        """Draw, measure, compare."""
        rng = np.random.default_rng(options["seed"])
        rows, flagged = [], []
        for number in range(options["images"]):
            grey, truth = random_field(rng, options["side"], shape=SHAPES[number % 3])
            try:
                result = measure_field(grey)
            except MeasurementError:
                flagged.append(True)
                rows.append([np.nan] * 5)
                continue
            rows.append(errors(result, truth))
            flagged.append(any(flag.code not in SAMPLING and flag.level != "info" for flag in result.flags))
            if options["verbosity"] > 1:
                self.stdout.write(f"{number} {np.round(rows[-1], 2)}")
        clear = ~np.array(flagged)
        told = {
            "images": len(rows),
            "flagged": float(np.mean(flagged)),
            "unflagged": summary(np.array(rows)[clear]),
            "all": summary(np.array(rows)),
        }
        if options["speed"]:
            told["speed"] = speed()
        self.stdout.write(json.dumps(told, indent=1) if options["json"] else _table(told))


def random_field(
    rng: np.random.Generator, side: int, *, shape: str = "disc", **fixed: Any
) -> tuple[np.ndarray, Truth]:
    """Draw a field within the working range, random over all factors at once.

    Noise 1 to 8 % of full scale, blur 0.5 to 2 px, shading up to 50 %, oxide from 35 to 85 % of the way to
    metal, one in five with a second oxide, one in seven with matter brighter than metal; rims whose thin
    tenth still is three blurs and four pixels thick.
    """
    blur = float(rng.uniform(0.5, 2))
    place = float(rng.uniform(0.35, 0.85))
    covered = float(rng.choice([0, 1, rng.uniform()], p=[0.1, 0.1, 0.8]))
    bright = rng.random() < 1 / 7
    # with a spread of 25 % the thin tenth of the rims is 0.71 of their mean
    rim = max(3 * blur, 4) / 0.71 * float(rng.uniform(1.0, 1.6))
    made_of: dict[str, Any] = {
        "shape": shape,
        "metal": float(rng.uniform(0.2, 0.6)),
        "grain_radius_px": float(rng.uniform(12, 25)),
        "covered": covered,
        "rim_px": rim,
        "second_oxide": 0.5 if rng.random() < 0.2 and place > 0.55 else 0.0,
        "bright": 0.01 if bright else 0.0,
    }
    seen: dict[str, Any] = {
        "oxide_place": place,
        "second_oxide_place": max(place - 0.25, 0.35),
        "bright_place": 1.8 if bright else 1.3,
        "metal": 0.5 if bright else 0.76,
        "blur_px": blur,
        "noise": float(rng.uniform(0.01, 0.08)) * (0.6 if bright else 1.0),
        "shading": float(rng.uniform(0, 0.5)),
    }
    made_of.update({key: value for key, value in fixed.items() if key in made_of})
    seen.update({key: value for key, value in fixed.items() if key not in made_of})
    seed = int(rng.integers(2**31))
    section = draw_section(Microstructure(**made_of), height=side, width=side, seed=seed)
    picture = expose(section, Exposure(**seen), seed=seed)
    return (picture / np.float32(np.iinfo(picture.dtype).max)).astype(np.float32), section.truth()


def errors(result: FieldResult, truth: Truth) -> list[float]:
    """Give the errors of porosity, oxide and coverage in points, of outline and thickness in percent."""
    found = result.estimates
    coverage = found["oxide_coverage"].value if "oxide_coverage" in found else 0.0
    outline = result.sums.metal_outline_px * result.outline_factor / result.sums.area_px
    thickness = np.nan
    if truth.coverage > 0.15 and "oxide_thickness" in found:
        thickness = found["oxide_thickness"].value / (np.pi / 4 * truth.thickness_px) - 1
    return [
        100 * (found["porosity"].value - truth.porosity),
        100 * (found["oxide_fraction"].value - truth.oxide_fraction),
        100 * (coverage - truth.coverage),
        100 * (outline / truth.outline_per_px - 1),
        100 * thickness,
    ]


def summary(rows: np.ndarray) -> dict[str, dict[str, float]]:
    """Summarise errors column by column."""
    names = ("porosity", "oxide_fraction", "oxide_coverage", "metal_outline", "oxide_thickness")
    return {
        name: {
            "bias": float(np.nanmean(column)),
            "rmse": float(np.sqrt(np.nanmean(column**2))),
            "median": float(np.nanmedian(np.abs(column))),
            "p95": float(np.nanquantile(np.abs(column), 0.95)),
        }
        for name, column in zip(names, rows.T, strict=True)
    }


def speed(side: int = 4096) -> dict[str, float]:
    """Time a large field on one thread, in processor seconds and in copies of the picture."""
    import cv2

    cv2.setNumThreads(1)
    section = draw_section(Microstructure(), height=side // 2, width=side // 2, seed=1, oversampling=2)
    picture = np.tile(expose(section, Exposure(), seed=1), (2, 2))
    copies = []
    for _ in range(9):
        start = time.process_time()
        picture.copy()
        copies.append(time.process_time() - start)
    grey = picture.astype(np.float32) / np.float32(255)
    start = time.process_time()
    result = measure_field(grey)
    first = time.process_time() - start
    start = time.process_time()
    measure_field(grey, levels=result.levels)
    pinned = time.process_time() - start
    return {
        "side_px": side,
        "seconds": first,
        "pinned_seconds": pinned,
        "copies": first / max(min(copies), 1e-6),
    }


def _table(told: dict[str, Any]) -> str:
    lines = [f"{told['images']} images, {told['flagged']:.0%} flagged"]
    for group in ("unflagged", "all"):
        lines.append(f"{group:<18}{'bias':>8}{'rmse':>8}{'median':>8}{'p95':>8}")
        lines += [
            f"  {name:<16}" + "".join(f"{row[key]:>8.2f}" for key in ("bias", "rmse", "median", "p95"))
            for name, row in told[group].items()
        ]
    if "speed" in told:
        one = told["speed"]
        lines.append(
            f"{one['side_px']} px: {one['seconds']:.1f} s of processor ({one['copies']:.0f} copies), "
            f"{one['pinned_seconds']:.1f} s with pinned levels"
        )
    return "\n".join(lines)
