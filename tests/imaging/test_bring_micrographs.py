"""A folder of micrographs is shown and brought by a command; a bad file hinders no other."""

import io
import zipfile

import pytest
from django.core.management import CommandError, call_command
from PIL import Image

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


@pytest.fixture
def paged(tmp_path):
    """A folder with a file of four pages: three pictures of one size, and a small preview."""
    make_user("operator", username="operator")
    pictures = [Image.open(io.BytesIO(section_file(seed, size=96))) for seed in (1, 2, 3)]
    pictures.append(pictures[0].resize((48, 48)))
    pictures[0].save(tmp_path / "stack.tif", "TIFF", save_all=True, append_images=pictures[1:])
    return tmp_path


def test_of_a_file_with_several_pages_it_is_said_how_many_are_not_brought(paged):
    """The first alone unless more are asked for; the others of its size can still be brought later."""
    (line,), code = run(paged, "--apply")
    assert code == 0
    assert line.endswith(
        "the file holds 4 pages, 3 of them not brought; --pages all brings those of its size"
    )
    assert [one.page for one in Micrograph.objects.all()] == [0]
    (line,), _ = run(paged, "--apply", "--pages", "all")
    assert "here already, as number" in line
    assert "page 2 as number" in line
    assert line.endswith("the file holds 4 pages, 1 of them not brought")
    assert [one.page for one in Micrograph.objects.order_by("page")] == [0, 1, 2]
    (line,), _ = run(paged, "--apply", "--pages", "all")
    assert "no further page of its size was to be brought" in line
    assert Micrograph.objects.count() == 3


def test_pages_are_brought_by_their_numbers(paged):
    """Counted from 1, as a person counts; what is no number, or leaves the first out, is refused in words."""
    (line,), _ = run(paged, "--apply", "--pages", "1,3,9")
    assert "page 3 as number" in line
    assert "page 2 as" not in line
    assert [one.page for one in Micrograph.objects.order_by("page")] == [0, 2]
    for text, words in (("some", "names no pages"), ("0,1", "names no pages"), ("2", "Write 1,2")):
        with pytest.raises(CommandError, match=words):
            run(paged, "--apply", "--pages", text)
