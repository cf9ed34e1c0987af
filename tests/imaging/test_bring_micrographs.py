"""A folder of micrographs is shown and brought by a command; a bad file hinders no other."""

import io
import zipfile

import pytest
from django.core.management import CommandError, call_command

from teardown.imaging.models import ImagingSession, Micrograph, ScaleClaim
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path):
    """Pictures by name, by the text beside, in a zip; one without a code, one without a picture."""
    make_sample("7654321B", by=make_user("operator", username="operator"))
    day = tmp_path / "day"
    day.mkdir()
    (day / "7654321B_f02.png").write_bytes(section_file(1, size=96))
    (day / "image7.png").write_bytes(section_file(2, size=96))
    (day / "image7.txt").write_text("Sample = 7654321b\nPixelSize = 50 nm\n")
    (day / "unknown.png").write_bytes(section_file(3, size=96))
    (day / "bad.tif").write_bytes(b"no picture")
    with zipfile.ZipFile(day / "more.zip", "w") as archive:
        archive.writestr("7654321B_05.png", section_file(4, size=96))
    return tmp_path


def run(folder, *arguments):
    """Run the command; give its lines and its exit code."""
    out, code = io.StringIO(), 0
    try:
        call_command("bring_micrographs", str(folder), "--by", "operator", *arguments, stdout=out)
    except SystemExit as stop:
        code = stop.code
    return out.getvalue().splitlines(), code


def test_a_folder_is_shown_before_it_is_brought(folder):
    """Without --apply nothing is kept."""
    lines, code = run(folder)
    assert code == 0
    told = "\n".join(lines)
    assert "7654321B_f02.png: would be field 2 of sample 7654321B" in told
    assert "image7.png: would be field 7 of sample 7654321B" in told or "image7.png: would be field ?" in told
    assert "unknown.png: would be kept and tied to no sample" in told
    assert not Micrograph.objects.exists()


def test_a_folder_is_brought_once(folder):
    """Tied by name or by the text beside, out of zips too; bad ones are refused; the same bytes are known."""
    lines, code = run(folder, "--apply", "--session", "Friday")
    assert code == 2
    told = "\n".join(lines)
    assert "bad.tif: refused" in told
    assert Micrograph.objects.count() == 4
    assert Micrograph.objects.filter(ties__sample__code="7654321B").count() == 3
    assert ImagingSession.objects.get().micrographs.count() == 4
    assert ScaleClaim.objects.get(source="sidecar").pixel_width_um == pytest.approx(0.05)
    again, _ = run(folder, "--apply")
    assert sum("here already" in line for line in again) == 4
    assert Micrograph.objects.count() == 4


def test_who_may_not_and_what_is_not_there_are_refused(tmp_path, folder):
    """A person without the right, a folder that is none."""
    make_user("reviewer", username="reviewer")
    with pytest.raises(CommandError, match="may add micrographs"):
        call_command("bring_micrographs", str(folder), "--by", "reviewer")
    with pytest.raises(CommandError, match="is no folder"):
        call_command("bring_micrographs", str(tmp_path / "none"), "--by", "operator")
    with pytest.raises(CommandError, match="no person"):
        call_command("bring_micrographs", str(folder), "--by", "nobody")
