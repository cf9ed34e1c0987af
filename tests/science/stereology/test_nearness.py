"""Quick distances, exact where rims are told from blurred edges."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.science.stereology.nearness import EXACT_TO, FAR, chamfer_of, in_pixels, nearness


def random_shapes(seed, grain_px=4.0):
    """True and False in blobs of some pixels."""
    rng = np.random.default_rng(seed)
    field = cv2.GaussianBlur(rng.normal(size=(120, 150)).astype(np.float32), (0, 0), grain_px)
    return field > np.quantile(field, 0.35)


def euclidean(mask):
    """Distance by an algorithm of another kind, exact everywhere: a reference from scipy."""
    from scipy.ndimage import distance_transform_edt

    return distance_transform_edt(mask)


@given(seed=st.integers(0, 500), grain_px=st.floats(0.7, 9.0))
def test_distances_are_euclidean_within_six_pixels_and_near_it_beyond(seed, grain_px):
    mask = random_shapes(seed, grain_px)
    true, found = euclidean(mask), in_pixels(nearness(mask))
    close = true <= EXACT_TO
    np.testing.assert_allclose(found[close], true[close], atol=1e-4)
    np.testing.assert_allclose(found[~close], true[~close], rtol=0.03)


@given(seed=st.integers(0, 500), reach=st.floats(0.5, 5.99))
def test_a_limit_on_the_quick_distance_keeps_the_pixels_of_the_true_one(seed, reach):
    mask = random_shapes(seed)
    true = euclidean(mask)
    decided = np.abs(true - reach) > 1e-6
    assert ((nearness(mask) <= chamfer_of(reach)) == (true <= reach))[decided].all()


@pytest.mark.parametrize("offset", [(0, 1), (1, 1), (1, 2), (3, 2), (4, 4), (0, 6)])
def test_one_point_is_as_far_as_pythagoras_says(offset):
    mask = np.ones((15, 15), bool)
    mask[7, 7] = False
    assert in_pixels(nearness(mask))[7 + offset[0], 7 + offset[1]] == pytest.approx(
        np.hypot(*offset), abs=1e-4
    )


def test_with_nothing_to_be_near_all_is_far_away():
    assert (nearness(np.ones((5, 6), bool)) == FAR).all()
    assert (in_pixels(nearness(np.ones((5, 6), bool))) == FAR).all()
