"""The chain of records: gapless, in order, and telling when it was touched."""

import datetime as dt

import pytest
from django.db import connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from teardown.records import guards
from teardown.records.actions import record
from teardown.records.models import Record
from teardown.records.rules import canonical, plain
from tests.makers import make_user

pytestmark = pytest.mark.django_db


def test_a_chain_of_records_has_no_gap_and_holds() -> None:
    user = make_user("analyst")
    for number in range(5):
        record(verb="added", subject="cells.cell:1", by=user, payload={"mass_g": 1.5 + number})
    assert list(Record.objects.values_list("seq", flat=True)) == list(range(1, Record.objects.count() + 1))
    assert list(Record.objects.all().broken()) == []


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE records_record SET reason = 'other' WHERE seq = 1",
        "DELETE FROM records_record WHERE seq = 1",
    ],
)
def test_the_database_itself_refuses_to_change_a_record(sql: str) -> None:
    record(verb="added", subject="cells.cell:1", by=None)
    with pytest.raises(Exception, match="never"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    assert Record.objects.get(seq=1).reason == ""


@pytest.mark.skipif(connection.vendor != "sqlite", reason="REPLACE is SQLite's own way round")
def test_replace_does_not_slip_past_the_guards() -> None:
    made = record(verb="added", subject="cells.cell:1", by=None)
    columns = ", ".join(f'"{field.column}"' for field in Record._meta.concrete_fields)
    same = f"SELECT {columns} FROM records_record WHERE seq = {made.seq}"
    sql = f"INSERT OR REPLACE INTO records_record ({columns}) {same}"
    with pytest.raises(Exception, match="never"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def test_a_record_changed_behind_the_guards_is_found() -> None:
    for _ in range(3):
        record(verb="added", subject="cells.cell:1", by=None)
    guards.remove(connection)
    Record.objects.filter(seq=2).update(reason="nothing to see")
    assert [seq for seq, _ in Record.objects.all().broken()] == [2]
    guards.install(connection)


def test_a_record_taken_away_behind_the_guards_is_found() -> None:
    for _ in range(3):
        record(verb="added", subject="cells.cell:1", by=None)
    guards.remove(connection)
    Record.objects.filter(seq=2).delete()
    assert (3, "record 2 is missing") in list(Record.objects.all().broken())
    guards.install(connection)


def test_every_guard_stands_after_migrating() -> None:
    assert guards.missing(connection) == []


def test_the_same_moment_is_written_the_same_way_in_every_zone() -> None:
    here = dt.datetime(2031, 3, 4, 15, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    assert plain(here) == plain(here.astimezone(dt.UTC))


@given(
    st.dictionaries(
        st.text(max_size=5), st.floats(allow_nan=False) | st.integers() | st.text(max_size=5), max_size=4
    )
)
def test_the_order_of_keys_changes_nothing(payload: dict) -> None:
    assert canonical(payload) == canonical(dict(reversed(list(payload.items()))))
