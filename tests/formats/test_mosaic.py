"""Mosaics are read in parts, to the same sample as whole; what cannot be is refused in words."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile

from teardown.formats import mosaic as module
from teardown.formats.gate import look
from teardown.formats.micrograph import LARGEST_PIXELS, DamagedPicture, NoSuchPage, read_micrograph
from teardown.formats.mosaic import Mosaic, NotInBands, header_at, is_mosaic
from teardown.formats.pyramid import (
    TILE,
    class_pyramid,
    classes_file,
    display_bytes,
    pyramid_of_bands,
    read_classes,
    read_page,
    read_tile,
)


def samples(kind=np.uint8, rows=700, columns=530):
    """Draw a picture with no two like rows."""
    return np.random.default_rng(3).integers(0, np.iinfo(kind).max, (rows, columns)).astype(kind)


@pytest.mark.parametrize("stored", [{}, {"compression": "zlib", "tile": (128, 64)}])
def test_fewer_bits_are_seen_in_mosaics_too(tmp_path, stored):
    """The same greys as read whole, and said so; sixteen bits in full stay sixteen."""
    path = tmp_path / "m.tif"
    narrow = samples(np.uint16) >> 4
    tifffile.imwrite(path, narrow, **stored)
    whole = read_micrograph(path.read_bytes())
    with Mosaic(path) as mosaic:
        assert np.array_equal(mosaic.grey(slice(100, 300), slice(7, 400)), whole.grey[100:300, 7:400])
        assert mosaic.header.bits == whole.header.bits == 12
        assert mosaic.remarks == whole.remarks
    tifffile.imwrite(path, samples(np.uint16), **stored)
    with Mosaic(path) as mosaic:
        assert (mosaic.header.bits, mosaic.remarks) == (16, ())


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize(
    "stored",
    [
        {},
        {"rowsperstrip": 7},
        {"compression": "zlib", "rowsperstrip": 33, "predictor": True},
        {"compression": "zlib", "tile": (128, 64)},
        {"tile": (64, 256)},
        {"byteorder": ">", "rowsperstrip": 50},
        {"photometric": "miniswhite"},
        {"bigtiff": True, "tile": (128, 128)},
    ],
)
def test_every_window_is_that_of_the_whole(tmp_path, kind, stored):
    """Strips and tiles, plain and deflated, either byte order, windows in any order."""
    path = tmp_path / "m.tif"
    tifffile.imwrite(path, samples(kind), **stored)
    whole = read_micrograph(path.read_bytes()).grey
    with Mosaic(path) as mosaic:
        for top, bottom, left, right in (
            (0, 100, 0, 530),
            (90, 300, 20, 500),
            (600, 700, 500, 530),
            (3, 4, 0, 1),
        ):
            part = mosaic.grey(slice(top, bottom), slice(left, right))
            assert (part == whole[top:bottom, left:right]).all()


def test_the_header_of_a_mosaic_is_read_without_its_pixels(tmp_path):
    """A sparse file of 20,000 by 20,000 pixels passes the gate; it is called a mosaic."""
    path = tmp_path / "large.tif"
    tifffile.memmap(path, shape=(20_000, 20_000), dtype=np.uint8).flush()
    header = header_at(path)
    assert (header.width, header.height) == (20_000, 20_000)
    assert is_mosaic(header)
    fact = look([path])[0]
    assert fact["ok"], fact
    assert fact["remarks"] == ["read_in_bands"]


def test_a_picture_beyond_what_is_borne_is_refused_in_words(tmp_path):
    """25,000 by 25,000 is more than 500 megapixels; the sentence says what may be done."""
    path = tmp_path / "huge.tif"
    tifffile.memmap(path, shape=(25_000, 25_000), dtype=np.uint8).flush()
    reason = look([path])[0]["reason"]
    assert "625 million" in reason or "25000 by 25000" in reason
    assert "up to 500 megapixels" in reason


@pytest.mark.parametrize(
    ("array", "stored", "words"),
    [
        (samples()[..., None].repeat(3, axis=2), {"photometric": "rgb"}, "in colours"),
        (samples().astype(np.float32), {}, "float32"),
        (samples().astype(np.uint32), {}, "32 bits"),
    ],
)
def test_what_cannot_be_read_in_parts_is_refused(tmp_path, array, stored, words):
    """Colours, floats, 32-bit numbers: with what to do instead."""
    path = tmp_path / "m.tif"
    tifffile.imwrite(path, array, **stored)
    with pytest.raises(NotInBands, match=words) as refusal:
        Mosaic(path)
    assert "64 megapixels" in str(refusal.value)


def test_one_compressed_piece_is_refused(tmp_path, monkeypatch):
    """It would have to be unpacked whole."""
    monkeypatch.setattr(module, "LARGEST_PIECE", 1000)
    path = tmp_path / "m.tif"
    tifffile.imwrite(path, samples(), compression="zlib", rowsperstrip=700)
    with pytest.raises(NotInBands, match="one compressed piece"):
        Mosaic(path)


def test_damage_is_told_where_it_is_met(tmp_path):
    """A file cut off, a piece that does not unpack, a page that is not there."""
    path = tmp_path / "m.tif"
    tifffile.imwrite(path, samples(), compression="zlib", rowsperstrip=50)
    data = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tiff:
        start = tiff.pages[0].dataoffsets[5]
    data[start : start + 40] = bytes(40)
    path.write_bytes(data)
    with Mosaic(path) as mosaic:
        assert mosaic.grey(slice(0, 10), slice(0, 10)).shape == (10, 10)
        with pytest.raises(DamagedPicture, match="cannot be decoded"):
            mosaic.grey(slice(240, 300), slice(0, 10))
    path.write_bytes(data[: start // 2])
    with pytest.raises(DamagedPicture):
        Mosaic(path)
    tifffile.imwrite(path, samples())
    with pytest.raises(NoSuchPage):
        Mosaic(path, page=3)


def test_a_pyramid_of_bands_shows_the_picture(tmp_path):
    """Tile by tile and page by page, as if it had been held whole."""
    smooth = np.add.outer(np.arange(1500), np.arange(1100)).astype(np.float32) / 2600
    bands = (display_bytes(smooth[top : top + 400], (0.0, 1.0)) for top in range(0, 1500, 400))
    pyramid_of_bands(bands, 1100, 1500, tmp_path / "p.tif")
    tile = read_tile(tmp_path / "p.tif", 0, 1, 2)
    shown = display_bytes(smooth, (0.0, 1.0))
    part = shown[2 * TILE : 2 * TILE + 476, TILE : 2 * TILE]
    assert np.abs(tile[:476, :].astype(int) - part.astype(int)).max() <= 6
    assert max(read_page(tmp_path / "p.tif", 700).shape) == 750


def test_a_large_class_map_is_kept_to_the_last_pixel(tmp_path):
    """As PNG, and as a pyramid of tiles."""
    labels = samples()[:, :400] % 5
    classes_file(labels, tmp_path / "c.png")
    assert (read_classes((tmp_path / "c.png").read_bytes()) == labels).all()
    class_pyramid(tmp_path / "c.png", tmp_path / "c.tif")
    assert (read_tile(tmp_path / "c.tif", 0, 0, 0)[:512, :400] == labels[:512]).all()


MEASURE = """
import sys
from pathlib import Path
import django
django.setup()
from teardown.imaging.measure.examining import examine
from teardown.formats.pixel_size import ScaleCandidate
found = examine(Path(sys.argv[1]), scale=ScaleCandidate("typed", 0.1, 0.1))
status = Path("/proc/self/status").read_text()  # getrusage would count what the parent held before the start
peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
print(peak, found.result.estimates["porosity"].value, found.result.sums.area_px, found.result.labels.shape[0])
"""


@pytest.mark.long
def test_a_mosaic_is_measured_within_its_memory(tmp_path):
    """Above 64 megapixels, in a process of its own: less than 600 MB in all; the porosity of its parts."""
    from teardown.science.stereology.exposures import Exposure, expose
    from teardown.science.stereology.phantoms import Microstructure, draw_section

    side, part = 8192, 1024
    section = draw_section(Microstructure(), height=part, width=part, seed=2, oversampling=2)
    picture = expose(section, Exposure(shading=0), seed=2)
    path = tmp_path / "mosaic.tif"
    large = tifffile.memmap(path, shape=(side, side), dtype=np.uint8)
    for top in range(0, side, part):
        for left in range(0, side, part):
            large[top : top + part, left : left + part] = picture
    large.flush()
    assert side * side > LARGEST_PIXELS
    root = Path(module.__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(path)],
        capture_output=True,
        text=True,
        cwd=root,
        check=False,
        env={"DJANGO_SETTINGS_MODULE": "tests.settings", "PATH": "/usr/bin:/bin", "OMP_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr
    peak, porosity, area, rows = (float(word) for word in done.stdout.split())
    assert peak < 600
    assert porosity == pytest.approx(section.truth().porosity, abs=0.003)
    assert (area, rows) == (side * side, side)
