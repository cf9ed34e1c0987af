"""Pictures are read as they were recorded, or refused in words."""

import numpy as np
import pytest
from PIL import Image

from teardown.formats.greys import NoGreys
from teardown.formats.micrograph import (
    DamagedPicture,
    NoSuchPage,
    NotAPicture,
    TooManyPixels,
    read_header,
    read_micrograph,
)
from teardown.science.errors import ReadingError
from tests.formats.pictures import DEEP, RAMP, by_pillow, png_bomb, tiff

FLOATS = (RAMP / np.float32(255)).astype(np.float32)


@pytest.mark.parametrize(
    ("data", "grey"),
    [
        (tiff(RAMP), RAMP / 255),
        (tiff(RAMP, rowsperstrip=7), RAMP / 255),
        (tiff(RAMP, tile=(32, 32)), RAMP / 255),
        (tiff(RAMP, compression="zlib"), RAMP / 255),
        (tiff(RAMP, compression="zlib", tile=(64, 64)), RAMP / 255),
        (tiff(RAMP, bigtiff=True), RAMP / 255),
        (tiff(RAMP, byteorder=">"), RAMP / 255),
        (tiff(RAMP, photometric="miniswhite"), 1 - RAMP / 255),
        (tiff(DEEP), DEEP / 65535),
        (tiff(DEEP, byteorder=">", compression="zlib"), DEEP / 65535),
        (tiff(FLOATS), RAMP / 255),
        (by_pillow(RAMP, "TIFF", compression="tiff_lzw"), RAMP / 255),
        (by_pillow(DEEP, "TIFF", compression="tiff_lzw"), DEEP / 65535),
        (by_pillow(RAMP, "PNG"), RAMP / 255),
        (by_pillow(DEEP, "PNG"), DEEP / 65535),
        (by_pillow(np.dstack([RAMP] * 3), "PNG"), RAMP / 255),
        (by_pillow(np.dstack([RAMP, np.full_like(RAMP, 255)]), "PNG"), RAMP / 255),
        (tiff(np.dstack([RAMP] * 3), photometric="rgb"), RAMP / 255),
        (tiff(np.stack([RAMP] * 3), photometric="rgb", planarconfig="separate"), RAMP / 255),
    ],
)
def test_greys_come_out_at_full_depth(data, grey):
    """Whatever the layout, every pixel keeps its value."""
    assert np.allclose(read_micrograph(data).grey, grey, atol=1e-6)


@pytest.mark.parametrize(
    ("most", "told", "bits"), [(4000, None, 12), (4000, 4095, 12), (900, 1023, 10), (9000, 16383, 14)]
)
@pytest.mark.parametrize("stored", [{}, {"compression": "zlib"}, {"photometric": "miniswhite"}])
def test_fewer_bits_than_a_sample_holds_are_seen(most, told, bits, stored):
    """Twelve bits in samples of sixteen, as most cameras store them; ten or fourteen where the file says
    so."""
    samples = (RAMP.astype(np.float64) * most / RAMP.max()).astype(np.uint16)
    extra = [] if told is None else [(281, 3, 1, told, True)]
    read = read_micrograph(tiff(samples, extratags=extra, **stored))
    grey = samples / (2**bits - 1)
    assert np.allclose(read.grey, 1 - grey if "photometric" in stored else grey, atol=1e-6)
    assert read.header.bits == bits
    assert [one.code for one in read.remarks] == ["fewer_bits"]


def test_an_empty_file_is_called_empty():
    """There is nothing in it that could be of a wrong kind."""
    with pytest.raises(NotAPicture, match="empty"):
        read_micrograph(b"")


def test_a_palette_is_looked_up():
    """Indices of a palette are not greys; its colours are."""
    picture = Image.fromarray(255 - RAMP, "L").convert("P")
    picture.putpalette([value for grey in range(255, -1, -1) for value in (grey, grey, grey)])
    import io

    for form in ("PNG", "TIFF"):
        out = io.BytesIO()
        picture.save(out, form)
        expected = np.asarray(picture.convert("L")) / 255
        assert np.allclose(read_micrograph(out.getvalue()).grey, expected, atol=1e-6)


def test_pages_are_read_one_by_one():
    """A file of three pages gives each of them, and no fourth."""
    data = tiff(np.stack([RAMP, RAMP // 2, RAMP // 3]))
    assert read_header(data).pages == 3
    assert np.allclose(read_micrograph(data, page=2).grey, (RAMP // 3) / 255, atol=1e-6)
    with pytest.raises(NoSuchPage, match="has 3"):
        read_micrograph(data, page=3)


def test_a_jpeg_is_flagged_as_lossy():
    """Loss is said, not hidden."""
    picture = read_micrograph(by_pillow(RAMP, "JPEG", quality=95))
    assert {remark.code for remark in picture.remarks} == {"jpeg_input"}


def test_coloured_marks_and_transparency_are_left_out():
    """A red bar drawn over the picture is masked with a rim; clear pixels as well."""
    colour = np.dstack([RAMP] * 3 + [np.full_like(RAMP, 255)])
    colour[40:44, 50:70, :3] = (255, 0, 0)
    colour[:10, :10, 3] = 0
    picture = read_micrograph(by_pillow(colour, "PNG"))
    assert picture.left_out[42, 60]
    assert picture.left_out[36, 60]
    assert not picture.left_out[60, 20]
    assert picture.left_out[:10, :10].all()


def test_missing_values_are_left_out():
    """Holes in float data do not become black."""
    holed = FLOATS.copy()
    holed[5, 6] = np.nan
    picture = read_micrograph(tiff(holed))
    assert picture.left_out[5, 6]
    assert picture.left_out.sum() == 1


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b"", NotAPicture),
        (b"%PDF-1.7 nothing", NotAPicture),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", NotAPicture),
        (b"II*\x00", DamagedPicture),
        (tiff(RAMP)[:3000], DamagedPicture),
        (tiff(RAMP, compression="zlib")[:-200], DamagedPicture),
        (by_pillow(RAMP, "PNG")[:-60], DamagedPicture),
        (by_pillow(RAMP, "JPEG")[:-100], DamagedPicture),
        (png_bomb(), TooManyPixels),
        (by_pillow(np.dstack([RAMP, RAMP.T[:96, :96].repeat(2, 1)[:, :128], 255 - RAMP]), "PNG"), NoGreys),
        (by_pillow(RAMP > 100, "PNG"), NoGreys),
        (by_pillow(RAMP > 100, "TIFF"), NoGreys),
    ],
)
def test_what_cannot_be_measured_is_refused_in_words(data, error):
    """Each refusal has a sentence, a code and what to do."""
    with pytest.raises(ReadingError) as refusal:
        read_micrograph(data)
    assert type(refusal.value) is error
    assert refusal.value.code.startswith("micrograph.E")
    assert refusal.value.hint in str(refusal.value)


def test_flipped_bits_never_raise_anything_but_a_refusal():
    """Damaged files are read or refused; the kind of the decoder's error does not matter."""
    rng = np.random.default_rng(7)
    whole = [
        tiff(RAMP, compression="zlib"),
        by_pillow(DEEP, "PNG"),
        by_pillow(RAMP, "TIFF", compression="tiff_lzw"),
    ]
    for turn in range(150):
        data = bytearray(whole[turn % 3])
        for _ in range(4):
            data[rng.integers(min(len(data), 600))] ^= 1 << rng.integers(8)
        try:
            read_micrograph(bytes(data))
        except ReadingError:
            continue
