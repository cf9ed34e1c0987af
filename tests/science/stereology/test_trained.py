"""Strokes teach what grey alone does not tell: classes of one grey and unlike texture."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest

from teardown.science.stereology import strokes as module
from teardown.science.stereology.evening import Evened
from teardown.science.stereology.field import measure_field, measure_source
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.trained import (
    NO_STROKE,
    NoForest,
    NotAClassifier,
    TooFewStrokes,
    Trained,
    Training,
    classify,
    even_grey,
    extra_is_there,
    stroked_parts,
    train,
)
from teardown.science.stereology.windows import ArraySource

pytestmark = pytest.mark.skipif(not extra_is_there(), reason="the optional library is not installed")
SMALL = Training(most_of_a_class=500, seed=1)


def woven(side=384, seed=0):
    """Draw pore, and oxide and metal of one and the same grey: the one rough, the other smoothly mottled."""
    rng = np.random.default_rng(seed)
    block = np.arange(side) // 128
    codes = ((block[:, None] + block[None, :]) % 3).astype(np.uint8)
    rough = rng.standard_normal((side, side)).astype(np.float32) * 0.06
    mottled = cv2.GaussianBlur(rng.standard_normal((side, side)).astype(np.float32), (0, 0), 3) * 0.6
    grey = np.where(codes == 0, 0.2, 0.6) + np.where(codes == 1, rough, mottled * (codes == 2) + rough / 4)
    return grey.astype(np.float32), codes


def strokes_on(codes):
    """Stroke through the middle of every block."""
    drawn = np.full(codes.shape, NO_STROKE, np.uint8)
    for top in (0, 128, 256):
        for left in (0, 128, 256):
            drawn[top + 50 : top + 70, left + 30 : left + 100] = codes[top, left]
    return drawn


@pytest.fixture(scope="module")
def taught():
    """A picture, its truth, and what its strokes taught."""
    grey, codes = woven()
    return even_grey(grey), codes, train([(even_grey(grey), strokes_on(codes))], training=SMALL)


def test_texture_parts_what_grey_does_not(taught):
    """Nine in ten pixels are called rightly, on the stroked picture and on another of its kind."""
    grey, codes, found = taught
    assert abs(np.median(grey[codes == 1]) - np.median(grey[codes == 2])) < 0.01
    assert found.accuracy > 0.9
    assert (classify(found, grey) == codes).mean() > 0.9
    other, truth = woven(seed=5)
    assert (classify(found, even_grey(other)) == truth).mean() > 0.9


def test_the_same_strokes_teach_the_same(taught):
    """Seeded: digest and classes repeat; another seed is another classifier."""
    grey, codes, found = taught
    again = train([(grey, strokes_on(codes))], training=SMALL)
    assert again.digest == found.digest
    assert (classify(again, grey[:64]) == classify(found, grey[:64])).all()
    assert train([(grey, strokes_on(codes))], training=replace(SMALL, seed=2)).digest != found.digest


def test_a_classifier_survives_being_stored(taught):
    """Plain arrays and words: the forest that grows from them calls every pixel the same."""
    grey, _, found = taught
    back = Trained.from_bytes(found.to_bytes())
    assert back.digest == found.digest
    assert back.per_class == found.per_class
    assert (classify(back, grey[:96]) == classify(found, grey[:96])).all()


def test_a_field_is_measured_by_strokes_and_says_so(taught):
    """The same measures, marked as trained; tiles and left-out places change nothing."""
    _, codes, found = taught
    grey, _ = woven()
    result = measure_field(grey, trained=found, pixel_size_um=0.1)
    assert result.levels.source == "trained"
    assert result.trained == found.digest
    assert "trained_classifier" in {flag.code for flag in result.flags}
    assert result.estimates["porosity"].value == pytest.approx((codes == 0).mean(), abs=0.02)
    # within some pixels of a border the textures of both sides mix
    assert result.estimates["oxide_fraction"].value == pytest.approx((codes == 1).mean(), abs=0.09)
    cut = measure_source(ArraySource(grey), trained=found, pixel_size_um=0.1, tile_px=150, largest_whole=100)
    assert (cut.labels == result.labels).mean() > 0.9999
    valid = np.ones(grey.shape, bool)
    valid[:, 200:] = False
    part = measure_field(grey, valid=valid, trained=found)
    assert (part.labels[:, 200:] == 3).all()


def test_uneven_light_is_divided_out_before_strokes_are_learnt():
    """A picture that is even already stays as it is."""
    grey, _ = woven()
    assert even_grey(grey) == pytest.approx(grey, rel=0.05)


def test_too_few_strokes_are_refused_in_words():
    """None, one class only, or a class with a handful of pixels."""
    grey, codes = woven()
    nothing = np.full(codes.shape, NO_STROKE, np.uint8)
    with pytest.raises(TooFewStrokes, match="No stroke"):
        train([(grey, nothing)], training=SMALL)
    one = nothing.copy()
    one[:20, :20] = 0
    with pytest.raises(TooFewStrokes, match="only pore"):
        train([(grey, one)], training=SMALL)
    one[200, :10] = 2
    with pytest.raises(TooFewStrokes, match="10 of metal"):
        train([(grey, one)], training=SMALL)


@pytest.mark.parametrize("tile_px", [100, 150, 256])
def test_parts_of_a_picture_teach_what_the_whole_teaches(taught, tile_px):
    """A mosaic is learnt from window by window: to the last bit, strokes across seams and all."""
    grey, _ = woven()
    drawn = strokes_on(taught[1])
    evened = Evened.of(ArraySource(grey, None), Settings())
    parts = stroked_parts(evened, lambda window: drawn[window.at], tile_px=tile_px)
    assert len(parts) > 1
    assert train(parts, training=SMALL).digest == taught[2].digest


def test_bytes_that_are_no_classifier_are_refused(taught):
    """Nonsense, an array alone, other features, and what would unfold to too much."""
    out = io.BytesIO()
    np.savez_compressed(out, features=np.zeros((3, 3), np.float32))
    bomb = io.BytesIO()
    np.savez_compressed(bomb, features=np.zeros(40_000_000, np.uint8))
    for data in (b"nothing", out.getvalue(), bomb.getvalue()):
        with pytest.raises(NotAClassifier):
            Trained.from_bytes(data)


def test_without_the_library_the_refusal_says_what_to_install(taught, monkeypatch):
    """The extra is optional; nothing else needs it."""
    grey, codes, _ = taught
    monkeypatch.setattr(module, "find_spec", lambda name: None)
    assert not extra_is_there()
    with pytest.raises(NoForest, match="teardown\\[trained\\]"):
        train([(grey, strokes_on(codes))], training=SMALL)
