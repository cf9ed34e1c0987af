"""A wrongly named cell gets its right code; what hangs on it stays, and the old code still leads there."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from teardown.cells.actions import cell_once_called, recode_cell
from teardown.cells.models import Cell, FormerCode
from teardown.dissection import actions as bench
from teardown.records.models import Record, StaleVersion
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead():
    return makers.make_user("lead", username="lead")


def named(cell, code, by, **said):
    return recode_cell(cell=cell, code=code, reason="label read wrongly", by=by, seen=cell.version, **said)


def test_everything_stays_tied_to_a_cell_that_is_named_anew(lead):
    cell = makers.make_cell("SP-0412")
    makers.make_test(cell, end="leak")
    dissection = bench.start_dissection(cell=cell, by=lead, at=makers.NOW)
    entry = bench.log_entry(
        dissection=dissection, term="mass.received_g", value="41.2", by=lead, at=makers.NOW
    )
    named(cell, "SP-0421", lead)
    found = Cell.objects.get(code="SP-0421")
    assert found.dissection.entries.get() == entry
    assert found.tests.count() == 1
    assert cell_once_called("SP-0412") == found
    told = Record.objects.get(verb="named anew")
    assert (told.reason, told.payload["before"], told.payload["after"]) == (
        "label read wrongly", "SP-0412", "SP-0421")  # fmt: skip


def test_two_labels_that_were_exchanged_change_places(lead):
    one, other = makers.make_cell("SP-0412"), makers.make_cell("SP-0421")
    with pytest.raises(ValidationError, match="were exchanged"):
        named(one, "SP-0421", lead)
    named(one, "SP-0421", lead, swap=True)
    one.refresh_from_db()
    other.refresh_from_db()
    assert (one.code, other.code) == ("SP-0421", "SP-0412")
    assert FormerCode.objects.count() == 2
    assert cell_once_called("SP-0412") is None  # a code that a cell bears now is that cell's


def test_a_cell_is_not_named_anew_without_reason_right_or_code(lead):
    cell = makers.make_cell("SP-0412")
    with pytest.raises(ValidationError, match="Say why"):
        recode_cell(cell=cell, code="SP-0421", reason=" ", by=lead, seen=cell.version)
    with pytest.raises(ValidationError, match="already"):
        named(cell, "SP-0412", lead)
    with pytest.raises(PermissionDenied):
        named(cell, "SP-0421", makers.make_user("bench"))
    with pytest.raises(StaleVersion):
        recode_cell(cell=cell, code="SP-0421", reason="x", by=lead, seen=cell.version + 1)
    assert not FormerCode.objects.exists()


def test_the_old_code_leads_to_the_same_page_and_is_found_by_search(client, lead):
    cell = makers.make_cell("SP-0412")
    client.force_login(lead)
    client.post(
        reverse("recode_cell", args=["SP-0412"]),
        {"code": "SP-0421", "reason": "label read wrongly", "seen": cell.version},
    )
    answer = client.get(reverse("cell", args=["SP-0412"]) + "?x=1")
    assert (answer.status_code, answer.url) == (302, reverse("cell", args=["SP-0421"]) + "?x=1")
    page = client.get(answer.url).content.decode()
    assert "SP-0412 was named anew: it is SP-0421 now." in page
    assert "Called SP-0412 until" in page
    assert client.get(reverse("search"), {"q": "sp-0412"}).url == reverse("cell", args=["SP-0421"])
    assert client.get(reverse("bench_plan", args=["SP-0412"])).url == reverse("bench_plan", args=["SP-0421"])
    assert client.get(reverse("cell", args=["SP-9999"])).status_code == 404


def test_who_may_not_see_the_cell_is_not_led_to_it(client, lead):
    named(makers.make_cell("SP-0412"), "SP-0421", lead)
    client.force_login(makers.make_user("guest"))
    answer = client.get(reverse("cell", args=["SP-0412"]))
    assert answer.status_code == 404
    assert b"SP-0421" not in answer.content


def test_a_code_that_cannot_be_is_refused_at_its_box(client, lead):
    cell = makers.make_cell("SP-0412")
    client.force_login(lead)
    answer = client.post(
        reverse("recode_cell", args=["SP-0412"]), {"code": "a/b", "reason": "x", "seen": cell.version}
    )
    assert answer.status_code == 422
    assert Cell.objects.get().code == "SP-0412"
