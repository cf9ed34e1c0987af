"""Small pictures are drawn in a child; what is no picture gets none."""

import pytest
from PIL import Image

from teardown.formats.preview import draw_preview, picture_facts
from tests.pictures import noise


@pytest.fixture
def coloured(tmp_path):
    path = tmp_path / "photograph.jpg"
    picture = noise(size=(900, 600))
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter, as a camera notes it
    exif[0x010E] = "taken at the bench"
    Image.merge("RGB", (picture, picture.rotate(90), picture.rotate(180))).save(path, "JPEG", exif=exif)
    return path


def test_a_coloured_photograph_has_its_size_and_its_preview_comes_along(coloured, tmp_path):
    facts = picture_facts(coloured, tmp_path / "along.jpg", 300)
    assert (facts.width_px, facts.height_px) == (900, 600)
    with Image.open(tmp_path / "along.jpg") as small:
        assert small.size == (300, 450)
        assert dict(small.getexif()) == {}


def test_a_preview_is_upright_smaller_and_bare_of_metadata(coloured, tmp_path):
    before = coloured.read_bytes()
    assert draw_preview(coloured, tmp_path / "small.jpg", 300)
    with Image.open(tmp_path / "small.jpg") as small:
        assert small.size == (300, 450)
        assert dict(small.getexif()) == {}
    assert coloured.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"\x89PNG\r\n\x1a\n<html><script>", b"\xff\xd8\xff" + b"x" * 2000])
def test_what_is_no_picture_gets_none(tmp_path, content):
    path = tmp_path / "wrong.png"
    path.write_bytes(content)
    assert picture_facts(path, tmp_path / "small.jpg", 300) is None
    assert not draw_preview(path, tmp_path / "small.jpg", 300)


def test_a_picture_cut_short_is_noticed(coloured, tmp_path):
    coloured.write_bytes(coloured.read_bytes()[:5000])
    assert picture_facts(coloured, tmp_path / "small.jpg", 300) is None
