"""The size of a pixel is taken from what can be trusted, and asked where hints differ."""

import numpy as np
import pytest
import tifffile

from teardown.formats.micrograph import read_header
from teardown.formats.pixel_size import ScaleCandidate, choose_scale, read_sidecar
from tests.formats.pictures import DEEP, RAMP, by_pillow, tiff


def chosen(data):
    """The candidate that counts."""
    return choose_scale(read_header(data).candidates).chosen


@pytest.mark.parametrize("dpi", [64, 72, 96, 150, 300])
def test_a_size_for_printing_is_no_scale(dpi):
    """72 dots an inch say how the picture was to be printed."""
    assert chosen(tiff(RAMP, resolution=(dpi, dpi), resolutionunit="INCH")) is None
    assert chosen(by_pillow(RAMP, "PNG", dpi=(dpi, dpi))) is None


def test_a_resolution_that_can_mean_the_specimen_is_taken():
    """7,038,270 pixels a centimetre are 1.42 nm a pixel, as one maker writes it."""
    found = chosen(tiff(RAMP, resolution=(7038270, 7038270), resolutionunit="CENTIMETER"))
    assert found.source == "resolution"
    assert found.pixel_width_um == pytest.approx(1.4208e-3, rel=1e-3)


def test_open_metadata_is_read_with_its_unit(tmp_path):
    """PhysicalSizeX in nanometres comes out in micrometres."""
    path = tmp_path / "a.ome.tif"
    metadata = {"axes": "YX", "PhysicalSizeX": 125.0, "PhysicalSizeXUnit": "nm", "PhysicalSizeY": 125.0,
                "PhysicalSizeYUnit": "nm"}  # fmt: skip
    tifffile.imwrite(path, DEEP, metadata=metadata, ome=True)
    found = chosen(path.read_bytes())
    assert found.source == "ome"
    assert found.pixel_width_um == pytest.approx(0.125)


def sections(width_px, pixel_um, field_um, rows=None):
    """A TIFF with the private tag 34682: sections of named values in metres."""
    text = (
        f"[Scan]\r\nPixelWidth={pixel_um * 1e-6}\r\nPixelHeight={pixel_um * 1e-6}\r\n"
        f"HorFieldsize={field_um * 1e-6}\r\nVerFieldsize={(rows or 90) * pixel_um * 1e-6}\r\n"
    )
    return tiff(np.zeros((96, width_px), np.uint8), extratags=[(34682, 2, 0, text, True)])


def test_field_width_over_picture_width_comes_first():
    """A plain pixel size that belongs to another store resolution is out by two, and is asked about."""
    scale = choose_scale(read_header(sections(512, 5.825e-3, 5.965)).candidates)
    assert scale.chosen.source == "field width"
    assert scale.chosen.pixel_width_um == pytest.approx(5.965 / 512)
    assert {remark.code for remark in scale.remarks} == {"scale_conflict"}


def test_hints_that_agree_raise_no_question():
    """Within two percent nothing is asked, and the strip's height follows from the tags."""
    header = read_header(sections(512, 3.3724, 1726.67, rows=80))
    scale = choose_scale(header.candidates)
    assert scale.remarks == ()
    assert header.strip_rows == 16


def test_what_a_person_typed_beats_everything():
    """A typed scale counts, and no conflict is raised against it."""
    typed = ScaleCandidate("typed", 0.2, 0.2)
    scale = choose_scale([ScaleCandidate("field width", 0.1, 0.1), typed])
    assert scale.chosen == typed
    assert scale.remarks == ()


def test_pixels_that_are_not_square_are_said():
    """A pixel taller than wide is flagged."""
    scale = choose_scale([ScaleCandidate("ome", 0.1, 0.12)])
    assert {remark.code for remark in scale.remarks} == {"pixels_not_square"}


def test_a_text_beside_the_picture_needs_a_unit():
    """A number without a unit is no scale."""
    assert read_sidecar("PixelSize = 12.5 nm\nVoltage=20")[0].pixel_width_um == pytest.approx(0.0125)
    assert read_sidecar("PixelSize=12.5\n") == []


def test_text_in_the_description_is_a_hint_only():
    """It is shown to a person, never taken."""
    header = read_header(tiff(RAMP, description="pixel size: 40 nm"))
    assert [one.trusted for one in header.candidates if one.source == "sidecar"] == [False]
    assert chosen(tiff(RAMP, description="pixel size: 40 nm")) is None
