"""What changed between two class maps is counted from what to what, and shown where it is."""

import numpy as np
import pytest

from teardown.science.stereology.changes import UnlikeFields, change_table, tint_changes


def test_each_pixel_is_counted_once_by_what_it_was_and_is():
    """Known by hand: one pore became oxide, one oxide became metal."""
    before = np.array([[0, 0, 1], [2, 2, 1]], np.uint8)
    after = np.array([[0, 1, 1], [2, 2, 2]], np.uint8)
    table = change_table(before, after)
    assert table.sum() == 6
    assert (table[0, 1], table[1, 2]) == (1, 1)
    assert np.trace(table) == 4


def test_going_back_is_the_table_turned_over():
    """The change from b to a is the transpose of that from a to b."""
    made = np.random.default_rng(3)
    a, b = made.integers(0, 5, (2, 40, 30)).astype(np.uint8)
    assert (change_table(a, b) == change_table(b, a).T).all()


def test_only_what_changed_is_drawn_and_lines_meet_at_seams():
    """The layer of a tile is the cut from the layer of the whole."""
    made = np.random.default_rng(4)
    a, b = made.integers(0, 3, (2, 64, 64)).astype(np.uint8)
    whole = tint_changes(a, b)
    assert ((whole[:, :, 3] == 255) == (a != b)).all()
    tile = tint_changes(a[20:50, 11:40], b[20:50, 11:40], origin=(20, 11))
    assert (tile == whole[20:50, 11:40]).all()


def test_maps_of_unlike_shape_are_refused():
    """They are not of one picture."""
    with pytest.raises(UnlikeFields, match="shape"):
        change_table(np.zeros((2, 2), np.uint8), np.zeros((2, 3), np.uint8))
