"""Scale bars of drawn strips: their ends, with ticks or without, light or dark; where unsure, no guess."""

import cv2
import numpy as np
import pytest

from teardown.science.stereology.scale_bars import BarNotTold, find_scale_bar

LEFT, RIGHT, TOP = 610, 790, 30


def strip(*, ticks=0, thick=4, light=True, text=True, noise=0.0, seed=1):
    """A strip with words, a line above that parts it from the picture, and a bar from 610 to 790."""
    drawn = np.zeros((64, 1024), np.uint8)
    if text:
        cv2.putText(
            drawn, "15.0 kV  BSE  2000 x   WD 8.2 mm", (20, 40), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 255, 2
        )
        cv2.putText(drawn, "20 um", (830, 40), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 255, 2)
    drawn[0:2] = 255
    drawn[TOP : TOP + thick, LEFT:RIGHT] = 255
    if ticks:
        for left in (LEFT, RIGHT - ticks):
            drawn[TOP - 8 : TOP + thick + 8, left : left + ticks] = 255
    grey = 0.06 + 0.88 * (drawn.astype(np.float32) / 255 if light else 1 - drawn.astype(np.float32) / 255)
    return grey + np.random.default_rng(seed).normal(0, noise, grey.shape).astype(np.float32)


@pytest.mark.parametrize("light", [True, False])
@pytest.mark.parametrize("thick", [1, 4, 12])
def test_the_ends_of_a_plain_bar_are_its_outer_edges(light, thick):
    """Light on dark and dark on light, thin and thick, among words."""
    bar = find_scale_bar(strip(light=light, thick=thick))
    assert (bar.left, bar.right, bar.ticks) == (LEFT, RIGHT, False)
    assert bar.row == TOP + thick / 2


@pytest.mark.parametrize("light", [True, False])
@pytest.mark.parametrize("ticks", [1, 2, 3, 6])
def test_a_bar_with_ticks_reaches_from_the_middle_of_one_to_that_of_the_other(light, ticks):
    """Half a tick comes off at either end."""
    bar = find_scale_bar(strip(light=light, ticks=ticks))
    assert (bar.left, bar.right, bar.ticks) == (LEFT + ticks / 2, RIGHT - ticks / 2, True)


def test_noise_and_a_mirrored_strip_change_nothing():
    """A noisy strip has the same ends; mirrored, they are mirrored."""
    clean, noisy = find_scale_bar(strip(ticks=3)), find_scale_bar(strip(ticks=3, noise=0.03))
    assert (noisy.left, noisy.right) == (clean.left, clean.right)
    turned = find_scale_bar(strip(ticks=3)[:, ::-1].copy())
    assert (turned.left, turned.right) == (1024 - clean.right, 1024 - clean.left)


@pytest.mark.parametrize("columns", [980, 1001, 1020, 1024])
def test_the_width_of_the_picture_moves_no_end(columns):
    """The shortest line that is looked for grows with the width; the ends stay."""
    bar = find_scale_bar(strip(ticks=2)[:, :columns])
    assert (bar.left, bar.right) == (LEFT + 1, RIGHT - 1)


def test_a_frame_and_lines_at_the_edge_are_no_bars():
    """A frame round the words, and the line that parts strip from picture, leave the bar the only one."""
    framed = strip()
    for row in (8, 56):
        framed[row : row + 2, 10:560] = 0.94
    framed[8:58, [10, 11, 558, 559]] = 0.94
    bar = find_scale_bar(framed)
    assert (bar.left, bar.right) == (LEFT, RIGHT)


def test_two_lines_that_are_alike_are_not_chosen_between():
    """A second line of nearly the same length, or a bar whose words part it in two halves."""
    two = strip()
    two[50:54, 100:260] = 0.94
    with pytest.raises(BarNotTold, match="alike: 180 and 160 px"):
        find_scale_bar(two)
    parted = strip()
    parted[TOP : TOP + 4, 670:730] = 0.06
    with pytest.raises(BarNotTold, match="alike"):
        find_scale_bar(parted)
    short = strip()
    short[50:54, 100:190] = 0.94
    assert find_scale_bar(short).left == LEFT


def test_words_alone_or_one_grey_have_no_bar():
    """Nothing is proposed where nothing stands out; too thick, or from edge to edge, is no bar either."""
    words = strip()
    words[TOP : TOP + 4, LEFT:RIGHT] = 0.06
    with pytest.raises(BarNotTold, match="No single straight bar"):
        find_scale_bar(words)
    with pytest.raises(BarNotTold, match="one grey"):
        find_scale_bar(np.full((40, 600), 0.1, np.float32))
    block = strip(text=False)
    block[10:50, LEFT:RIGHT] = 0.94
    with pytest.raises(BarNotTold, match="No single straight bar"):
        find_scale_bar(block)
