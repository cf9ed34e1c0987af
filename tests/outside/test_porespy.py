"""Pictures that another library drew and measured: porespy 3.2.0 (MIT licence), frozen in
``tests/samples/micrographs/porespy.npz`` by ``porespy_pictures.py`` beside this file."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from teardown.science.stereology.classes import METAL, PORE
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.rims import openings_of, sizes_at
from teardown.science.stereology.structure import chords_of, two_point

KINDS = ("overlapping spheres", "blobs", "cells", "spheres of many sizes")


@pytest.fixture(params=range(4), ids=KINDS)
def drawn(request):
    """A picture's pores, and its numbers by name."""
    with np.load(Path(__file__).parent.parent / "samples" / "micrographs" / "porespy.npz") as stored:
        number = request.param
        assert str(stored["kinds"][number]) == KINDS[number]
        pores = np.unpackbits(stored[f"pores {number}"])[: 320 * 320].reshape(320, 320) > 0
        names = ("porosity", "thickness", "lags", "chance", "mean chord", "chords")
        return pores, {name: stored[f"{name} {number}"] for name in names} | {"radii": stored["radii"]}


def test_porosity_chords_and_correlation_are_theirs(drawn):
    """Counted alike, to the last chord: chords that no rim cuts, pairs of pixels in rings one pixel wide."""
    pores, theirs = drawn
    assert pores.mean() == pytest.approx(float(theirs["porosity"]))
    ours = chords_of(np.where(pores, PORE, METAL).astype(np.uint8), PORE)
    assert ours.n == int(theirs["chords"])
    assert ours.mean_px == pytest.approx(float(theirs["mean chord"]))
    chance = two_point(pores, longest=40).chance
    for lag, value in zip(theirs["lags"].astype(int), theirs["chance"], strict=True):
        if lag < 40:
            assert chance[lag] == pytest.approx(float(value), abs=3e-4)


def test_openings_are_their_local_thickness_to_within_a_pixel(drawn):
    """Their discs leave out the pixels at just their radius, ours hold them: sizes lie within one pixel of
    radius, the share of pore in each within the share of half a pixel's step."""
    pores, theirs = drawn
    radii = tuple(int(radius) for radius in theirs["radii"])
    sizes, passed = openings_of(pores, radii=radii)
    narrower = np.concatenate([[0.0], np.cumsum(theirs["thickness"])[:-1]])
    found = sizes_at(sizes, passed)
    for name, size in sizes_at(sizes, tuple(narrower)).items():
        assert found[name] == pytest.approx(size, abs=2)
    assert np.abs(np.array(passed) - narrower).max() < 0.06
    assert np.all(np.array(passed) >= narrower - 0.02)


def test_through_a_microscope_the_porosity_is_still_theirs(drawn):
    """Blurred, with noise and uneven light, no oxide: porosity within half a point (a blur of a pixel moves
    the edge of a sphere of six by a twelfth), nothing called oxide."""
    pores, theirs = drawn
    rng = np.random.default_rng(5)
    grey = cv2.GaussianBlur(np.where(pores, 0.15, 0.75).astype(np.float32), (0, 0), 1.0)
    light = 1 + 0.15 * np.linspace(-0.5, 0.5, pores.shape[1], dtype=np.float32)
    seen = np.rint(255 * np.clip(grey * light + rng.normal(0, 0.025, pores.shape), 0, 1)) / 255
    found = measure_field(seen.astype(np.float32)).estimates
    assert found["porosity"].value == pytest.approx(float(theirs["porosity"]), abs=0.005)
    assert found["oxide_coverage"].value < 0.02
