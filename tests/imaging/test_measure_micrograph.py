"""The command prints one document that keeps to its schema, whatever it is given."""

import io
import json
from pathlib import Path

import jsonschema
import pytest
from django.core.management import call_command

from tests.imaging.pictures import section_file

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "static" / "schemas" / "measure_micrograph.schema.json").read_text()
)


def run(*arguments):
    """Run the command; give its document and its exit code."""
    out = io.StringIO()
    code = 0
    try:
        call_command("measure_micrograph", *map(str, arguments), "--json", stdout=out)
    except SystemExit as stop:
        code = stop.code
    document = json.loads(out.getvalue())
    jsonschema.validate(document, SCHEMA)
    return document, code


@pytest.fixture
def pictures(tmp_path):
    """Two good files, one without a picture, one that is not there."""
    paths = [tmp_path / "a.png", tmp_path / "b.tif", tmp_path / "bad.png", tmp_path / "none.png"]
    paths[0].write_bytes(section_file(1, strip=40))
    paths[1].write_bytes(section_file(2, form="TIFF", bits=16))
    paths[2].write_bytes(b"this is no picture")
    return paths


def test_good_files_are_measured_and_bad_ones_listed(pictures):
    """A bad file hinders no other; the exit code says that there was one."""
    document, code = run(*pictures, "--pixel-size-um", "0.1")
    assert code == 2
    assert [Path(one["file"]).name for one in document["files"]] == ["a.png", "b.tif"]
    assert [Path(one["file"]).name for one in document["refused"]] == ["bad.png", "none.png"]
    assert document["pooled"]["fields"] == 2
    assert document["pooled"]["porosity"]["n"] == 2
    assert document["files"][0]["oxide_thickness_um"]["unit"] == "um"
    assert document["files"][0]["strip_rows"] == [256, 296]


def test_one_file_is_not_pooled_and_says_so(pictures):
    """n = 1 stands with its own interval; without a scale there is no thickness in micrometres."""
    document, code = run(pictures[0], "--fast")
    assert code == 0
    assert document["pooled"] is None
    assert [flag["code"] for flag in document["flags"]] == ["one_field"]
    (one,) = document["files"]
    assert one["porosity"]["n"] == 1
    assert one["oxide_thickness_um"] is None
    assert "unscaled" in {flag["code"] for flag in one["flags"]}


def test_classes_are_drawn_over_the_picture(pictures, tmp_path):
    """The overlay is a colour picture of the same size."""
    from PIL import Image

    run(pictures[0], "--fast", "--overlay", tmp_path / "out" / "over.png")
    with Image.open(tmp_path / "out" / "over.png") as drawn:
        assert drawn.size == (256, 296)
        assert drawn.mode == "RGB"


def test_a_folder_without_a_picture_is_refused_and_not_passed_over(tmp_path):
    """Nothing measured is never told apart from nothing there by silence alone."""
    (tmp_path / "empty").mkdir()
    document, code = run(tmp_path / "empty")
    assert code == 2
    assert document["refused"][0]["reason"] == "The folder holds no TIFF, PNG or JPEG picture."
