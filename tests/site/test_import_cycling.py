"""A folder of cycling files, each to the cell whose code its name holds."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from teardown.cycling.models import CyclingFile
from teardown.formats.series_write import write_bdf
from teardown.science.electrochemistry.phantoms import cycling_history
from tests.makers import make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
DATA = write_bdf(cycling_history(cycles=4).series)
OTHER = write_bdf(cycling_history(cycles=5).series)


def _call(folder: Path, *more: str) -> tuple[str, int]:
    out, code = StringIO(), 0
    try:
        call_command("import_cycling", str(folder), "--by", "ana", *more, stdout=out)
    except SystemExit as ended:
        code = int(ended.code or 0)
    return out.getvalue(), code


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    make_user("analyst", username="ana")
    make_test(make_cell("SP-0413"))
    make_test(make_cell("SP-04"))
    (tmp_path / "Lab__SP-0413__20310304_001.bdf.csv").write_bytes(DATA)
    return tmp_path


def test_a_folder_is_only_told_of_without_apply(folder: Path) -> None:
    said, code = _call(folder)
    assert "4 cycles, for SP-0413, test 1" in said
    assert code == 0
    assert not CyclingFile.objects.exists()


def test_each_file_goes_to_its_cell(folder: Path) -> None:
    (folder / "sp-04.csv").write_bytes(OTHER)
    said, code = _call(folder, "--apply")
    assert code == 0
    assert said.count("imported") == 2
    assert {f.test.cell.code for f in CyclingFile.objects.all()} == {"SP-0413", "SP-04"}


def test_a_refused_file_stops_no_other(folder: Path) -> None:
    (folder / "a-nobody.csv").write_bytes(DATA)
    (folder / "SP-04.csv").write_bytes(b"a,b,c\n1,2,3\n")
    said, code = _call(folder, "--apply")
    assert code == 2
    assert "No cell's code stands in its name" in said
    assert "imported for SP-0413" in said
    assert CyclingFile.objects.count() == 1


def test_a_second_call_imports_nothing_twice(folder: Path) -> None:
    _call(folder, "--apply")
    said, code = _call(folder, "--apply")
    assert "here already" in said
    assert code == 2
    assert CyclingFile.objects.count() == 1


def test_it_needs_a_person_who_may(folder: Path) -> None:
    make_user("bench", username="ben")
    for name, words in (("nobody", "no person"), ("ben", "Only")):
        with pytest.raises(CommandError, match=words):
            call_command("import_cycling", str(folder), "--by", name)
    with pytest.raises(CommandError, match="no folder"):
        call_command("import_cycling", str(folder / "none"), "--by", "ana")
