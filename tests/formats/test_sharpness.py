"""Blurring a picture always lowers its sharpness; exposure does not."""

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from skimage import data

from teardown.dissection.rules.sharpness import BLURRED, blur_remark
from teardown.formats.preview import picture_facts
from teardown.formats.sharpness import laplacian, sharpness

PICTURES = ("camera", "astronaut", "coins", "coffee", "rocket", "gravel", "brick", "page", "moon")


def grey(name):
    return np.asarray(Image.fromarray(getattr(data, name)()).convert("L"), dtype=np.float32)


@pytest.mark.parametrize("name", PICTURES)
def test_more_blur_is_less_sharp_and_three_pixels_are_told(name):
    """Pictures that come with scikit-image, a general-purpose library."""
    picture = grey(name)
    found = [sharpness(ndimage.gaussian_filter(picture, sigma)) for sigma in (0, 1, 2, 3, 5)]
    assert found == sorted(found, reverse=True)
    assert blur_remark(found[0]) is None
    assert blur_remark(found[3]).code == "photograph.blurred"


def test_darker_or_flatter_is_as_sharp():
    picture = grey("astronaut")
    assert sharpness(picture * 0.6 + 20) == pytest.approx(sharpness(picture), rel=0.02)


def test_a_sharp_piece_on_an_empty_bench_is_sharp():
    bench = np.full((768, 1024), 120, np.float32)
    bench[300:460, 400:560] = grey("gravel")[:160, :160]
    assert sharpness(bench) > 4 * BLURRED


def test_a_checkerboard_has_the_highest_laplacian_there_is():
    """Each pixel's four neighbours are its opposite: L = -8 (g - mean), so the ratio is 64."""
    board = np.where(np.indices((64, 64)).sum(axis=0) % 2, 255, 0).astype(np.float32)
    assert np.unique(np.abs(laplacian(board))) == pytest.approx([1020])
    assert sharpness(board) == pytest.approx(64, rel=1e-3)


def test_a_bare_wall_is_neither_sharp_nor_blurred():
    assert sharpness(np.full((600, 800), 200, np.float32)) is None
    assert blur_remark(None) is None


def test_the_child_measures_what_lies_in_the_file(tmp_path):
    path = tmp_path / "gravel.png"
    Image.fromarray(data.gravel()).save(path)
    assert picture_facts(path, tmp_path / "small.jpg", 300).sharpness == pytest.approx(
        sharpness(grey("gravel")), rel=1e-6
    )
