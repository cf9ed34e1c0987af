"""Draws cross sections of invented electrodes, from phantoms of known truth. Knows no Django."""

import io
from dataclasses import dataclass, replace

import numpy as np
import tifffile
from PIL import Image

from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.site.demo.lives import Story

SIDE_PX, STRIP_PX = 1024, 64
PIXEL_UM = 0.11  # so near that even thin rims are some pixels wide
# what each mode leaves: metal fraction, covered share of the outline, rim in px, grain radius in px
MARKS = {
    "passivation": (0.38, 0.86, 6.0, 22.0),
    "pore_closure": (0.54, 0.60, 9.0, 22.0),
    "unreduced_oxide": (0.24, 0.92, 13.0, 19.0),
    "additive_depletion": (0.36, 0.78, 6.5, 22.0),
    "shedding": (0.24, 0.45, 7.5, 20.5),
    "hydrogen": (0.36, 0.40, 7.5, 22.0),
}
FRESH = (0.38, 0.30, 6.0, 22.0)
DRIFT = 0.1
USUAL = (0.36, 0.55, 8.0, 22.0)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of view to be drawn: what it is of, how it is shown, and its number on the section."""

    made_of: Microstructure
    exposure: Exposure
    number: int
    seed: int
    tiff: bool


def fields_of(story: Story, sample: str, count: int) -> list[Field]:
    """Plan the fields of a sample: they vary around the sample, and samples vary around the cell."""
    chance = story.rng(f"sample {sample}")
    own = _structure(story, chance)
    sixteen = story.rng("microscope").random() < 0.4
    exposure = Exposure(
        noise=float(chance.uniform(0.02, 0.045)),
        shading=float(chance.uniform(0.02, 0.14)),
        oxide_place=float(chance.uniform(0.46, 0.68)),
        blur_px=float(chance.uniform(0.7, 1.0)),
        scratches=int(chance.integers(0, 6)),
        charging=0.1 if chance.random() < 0.08 else 0.0,
        bits=16 if sixteen else 8,
        strip_px=STRIP_PX,
        bar_px=round(20 / PIXEL_UM),
        bar_text="20 um",
    )
    # now and then somebody turned the contrast before the last field
    drifted = replace(exposure, metal=0.70, pore=0.13) if story.rng("drift").random() < DRIFT else exposure
    return [
        Field(
            _vary(own, chance),
            drifted if number == count else exposure,
            number,
            int(chance.integers(2**31)),
            sixteen,
        )
        for number in range(1, count + 1)
    ]


def _structure(story: Story, chance: np.random.Generator) -> Microstructure:
    mark = MARKS.get(story.root, USUAL)
    metal, covered, rim, radius = (
        fresh + (end - fresh) * min(1.0, story.severity) for fresh, end in zip(FRESH, mark, strict=True)
    )
    bright = 0.012 if "bismuth" in story.formula.additive else 0.0
    coarse = 1.35 if story.formula.iron == "atomised iron" else 1.0
    return Microstructure(
        shape="disc" if story.formula.iron == "carbonyl iron" else "polygon",
        metal=float(np.clip(metal + chance.normal(0, 0.012), 0.15, 0.6)),
        covered=float(np.clip(covered + chance.normal(0, 0.03), 0.05, 0.97)),
        rim_px=rim,
        grain_radius_px=radius * coarse,
        bright=bright * min(1.0, story.formula.share / 0.04),
        bright_radius_px=7.0,
    )


def _vary(own: Microstructure, chance: np.random.Generator) -> Microstructure:
    return replace(
        own,
        metal=float(np.clip(own.metal + chance.normal(0, 0.01), 0.12, 0.62)),
        covered=float(np.clip(own.covered + chance.normal(0, 0.02), 0.03, 0.98)),
    )


def draw(field: Field) -> bytes:
    """Draw a field as the microscope would save it: TIFF of 16 bits or PNG of 8, pixel size in the file."""
    section = draw_section(
        field.made_of, height=SIDE_PX - STRIP_PX, width=SIDE_PX, seed=field.seed, oversampling=3
    )
    picture = expose(section, field.exposure, seed=field.seed + 1)
    out = io.BytesIO()
    if field.tiff:
        tifffile.imwrite(
            out,
            picture,
            resolution=(1e4 / PIXEL_UM, 1e4 / PIXEL_UM),
            resolutionunit="CENTIMETER",
            compression="zlib",
        )
        return out.getvalue()
    Image.fromarray(picture).save(out, "PNG", dpi=(25400 / PIXEL_UM, 25400 / PIXEL_UM))
    return out.getvalue()
