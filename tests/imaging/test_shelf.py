"""Calm greys lie on a shelf between measurements: the same numbers in less time, on little disk."""

import os

import numpy as np
import pytest

from teardown.imaging.measure.shelf import CalmShelf, make_room
from teardown.science.stereology.evening import Calmed, Known
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.field import measure_field
from teardown.science.stereology.light import Light
from teardown.science.stereology.phantoms import Microstructure, draw_section
from teardown.science.stereology.shading import FLAT


@pytest.fixture(scope="module")
def grey():
    """Greys of a small section."""
    section = draw_section(Microstructure(grain_radius_px=11, rim_px=5), height=200, width=180, seed=1)
    return expose(section, Exposure(noise=0.03), seed=1).astype(np.float32) / np.float32(255)


def shelf(folder, digest="a" * 64, **asked):
    """A shelf for a picture."""
    return CalmShelf(digest, asked=asked, folder=folder)


def put(folder, digest, shape=(50, 40), **asked):
    """Lay greys there, as a measurement does."""
    place = shelf(folder, digest, **asked)
    room = place.room(shape)
    room[:] = 0.5
    place.keep(Calmed(room, Light([1] * 128), 0.01, FLAT))
    return place


def test_a_picture_measured_from_its_shelf_has_the_same_numbers(grey, tmp_path):
    place = shelf(tmp_path)
    first = measure_field(grey, shelf=place)
    known = Known(first.noise, first.gain)
    assert place.find().greys.shape == grey.shape
    found, anew = (
        measure_field(grey, levels=first.levels, known=known, shelf=one) for one in (shelf(tmp_path), None)
    )
    assert found.estimates == anew.estimates
    assert found.flags == anew.flags
    assert found.histogram == anew.histogram == first.histogram
    assert np.array_equal(found.labels, anew.labels)


def test_greys_of_other_noise_light_or_shape_are_not_taken(grey, tmp_path):
    put(tmp_path, "a" * 64, shape=grey.shape)
    first = measure_field(grey)
    found = measure_field(
        grey, levels=first.levels, known=Known(first.noise, first.gain), shelf=shelf(tmp_path)
    )
    assert found.estimates["porosity"].value == first.estimates["porosity"].value


def test_what_depends_on_other_pixels_has_another_place(tmp_path):
    put(tmp_path, "a" * 64, regions={"strip": [90, 100]})
    assert shelf(tmp_path, regions={"strip": [90, 100]}).find() is not None
    assert shelf(tmp_path, regions={}).find() is None
    assert shelf(tmp_path, "b" * 64, regions={"strip": [90, 100]}).find() is None


def test_a_file_that_a_power_cut_left_unfinished_does_not_count(tmp_path):
    put(tmp_path, "a" * 64)
    path = next(tmp_path.glob("*.npy"))
    data = bytearray(path.read_bytes())
    data[-4000:] = bytes(4000)
    path.write_bytes(data)
    assert shelf(tmp_path).find() is None
    path.write_bytes(b"\x93NUMPY")
    assert shelf(tmp_path).find() is None


def grow_older(folder):
    """Let ten seconds pass: two times of one tick of the clock have no order."""
    for path in folder.glob("*.json"):
        os.utime(path, (path.stat().st_mtime - 10, path.stat().st_mtime - 10))


def asked_in_turn(folder):
    """Ask for six pictures, one after the other; give those that lie there."""
    found = []
    for number in range(6):
        if shelf(folder, str(number) * 64).find():
            found.append(number)
        grow_older(folder)
    return found


def test_what_was_asked_for_longest_ago_makes_room(tmp_path, settings):
    settings.CALM_GREYS_BYTES = 40_000  # four pictures of 8 kB and their heads
    for number in range(6):
        put(tmp_path, str(number) * 64)
        grow_older(tmp_path)
    assert asked_in_turn(tmp_path) == [2, 3, 4, 5]
    make_room(tmp_path, 9_000)
    assert asked_in_turn(tmp_path) == [5]


def test_a_picture_too_large_for_the_shelf_is_measured_all_the_same(grey, tmp_path, settings):
    settings.CALM_GREYS_BYTES = 1000
    place = shelf(tmp_path)
    assert place.room(grey.shape) is None
    assert measure_field(grey, shelf=place).estimates["porosity"].value > 0
    assert list(tmp_path.iterdir()) == []


def test_a_measurement_that_was_refused_leaves_nothing(tmp_path):
    place = shelf(tmp_path)
    place.room((50, 40))
    place.close()
    assert list(tmp_path.iterdir()) == []
