"""What was kept is found as it was kept, or named."""

import io
import json
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.db import connection

from teardown.files import store
from teardown.records import guards
from teardown.records.models import ChainHead, Record
from tests.makers import make_user

pytestmark = pytest.mark.django_db


def verify(code: int = 0) -> dict:
    """Run the command; give its document."""
    out = io.StringIO()
    if code:
        with pytest.raises(SystemExit) as ended:
            call_command("verify_files", json=True, stdout=out)
        assert ended.value.code == code
    else:
        call_command("verify_files", json=True, stdout=out)
    return json.loads(out.getvalue())


def path_of(receipt) -> Path:
    return Path(settings.STORES["originals"]) / receipt.file.path


def test_everything_sound_is_said_so() -> None:
    user = make_user("bench")
    store.keep(b"sound evidence", by=user, name="P1.JPG")
    found = verify()
    assert found["sound"]
    assert found["files"]["checked"] == 1
    assert found["records"]["checked"] == Record.objects.count() > 0
    assert found["records"]["head"] == ChainHead.objects.get().hash


def test_a_changed_file_is_named_with_the_name_it_came_by() -> None:
    receipt = store.keep(b"evidence that will change", by=None, name="P2.JPG")
    path = path_of(receipt)
    path.chmod(0o640)
    path.write_bytes(b"evidence that has changed")
    wrong = verify(1)["files"]["wrong"]
    assert [(item["problem"], item["names"]) for item in wrong] == [("changed", ["P2.JPG"])]
    store.keep(b"evidence that will change", by=None)
    assert verify()["sound"]


def test_a_missing_file_is_named() -> None:
    receipt = store.keep(b"evidence that will go", by=None, name="P3.JPG")
    path_of(receipt).unlink()
    assert verify(1)["files"]["wrong"][0]["problem"] == "missing"


def test_a_file_without_a_row_is_listed_and_no_fault() -> None:
    name = f"sha256/12/34/1234{'0' * 60}"
    store.originals().place(ContentFile(b"cut off"), name)
    found = verify()
    assert name in found["files"]["without_a_row"]
    assert found["sound"]


@pytest.mark.parametrize(
    ("sql", "problem"),
    [
        ("UPDATE records_record SET verb = 'praised' WHERE seq = 1", "was changed after it was written"),
        ("DELETE FROM records_record WHERE seq = 1", "record 1 is missing"),
        ("UPDATE records_chainhead SET seq = 99", "is not where the head of the chain points"),
    ],
)
def test_a_touched_record_is_named(sql: str, problem: str) -> None:
    make_user("bench"), make_user("lead")
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(sql)
    guards.install(connection)
    assert problem in [item["problem"] for item in verify(1)["records"]["wrong"]]


def test_a_guard_that_is_down_is_named() -> None:
    guards.remove(connection)
    try:
        assert "guard_records_record_update_0" in verify(1)["guards_down"]
    finally:
        guards.install(connection)


def test_people_read_it_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("verify_files")
    assert "Everything is as it was kept." in capsys.readouterr().out
