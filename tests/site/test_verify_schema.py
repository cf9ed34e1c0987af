"""What verify_files prints keeps to its published schema, sound or not."""

import io
import json
from contextlib import suppress
from pathlib import Path

import jsonschema
import pytest
from django.core.management import call_command

from teardown.files.store import keep, originals
from tests.makers import make_user

pytestmark = pytest.mark.django_db
SCHEMA = json.loads(
    (Path(__file__).parents[2] / "static" / "schemas" / "verify_files.schema.json").read_text()
)


def said() -> dict:
    out = io.StringIO()
    with suppress(SystemExit):  # it ends with 1 where something is wrong
        call_command("verify_files", "--json", stdout=out)
    document = json.loads(out.getvalue())
    jsonschema.validate(document, SCHEMA)
    return document


def test_a_sound_store_and_a_changed_file_both_keep_to_the_schema() -> None:
    receipt = keep(b"the greys of a section, never seen before", by=make_user("bench"), name="a.tif")
    before = said()
    path = Path(originals().path(receipt.file.path))
    path.chmod(0o640)
    path.write_bytes(b"something else")
    after = said()
    path.unlink()
    assert before["sound"] is True
    assert after["files"]["wrong"][0]["problem"] == "changed"
    assert after["files"]["wrong"][0]["names"] == ["a.tif"]
