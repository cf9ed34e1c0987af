"""What is looked at before the application starts."""

import pytest
from django.core.management import call_command
from django.db import connection

from teardown.records import guards
from teardown.site import sqlite
from teardown.site.checks import guards_stand

pytestmark = pytest.mark.django_db(transaction=True)


def test_guards_that_stand_are_not_mentioned() -> None:
    assert guards_stand(databases=["default"]) == []


def test_guards_that_are_down_are_named_and_migrating_puts_them_back(
    capsys: pytest.CaptureFixture[str],
) -> None:
    guards.remove(connection)
    (found,) = guards_stand(databases=["default"])
    call_command("migrate", verbosity=0)
    assert "guard_records_record_update_0" in found.msg
    assert found.hint == "Run manage.py migrate."
    assert guards.missing(connection) == []


@pytest.mark.skipif(connection.vendor != "sqlite", reason="another database needs no SQLite")
def test_this_sqlite_is_free_of_the_race() -> None:
    pytest.importorskip("pysqlite3", reason="no newer SQLite comes for this machine")
    assert sqlite.version() >= sqlite.SAFE_SINCE
