"""The records tell a judge nothing of what others judged, before they have judged themselves."""

import pytest
from django.test import Client

from teardown.accounts.models import User
from teardown.cells.models import Cell
from teardown.findings.actions import Assigned, judge
from teardown.vocabulary.models import Term
from tests.makers import make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
NOTE = "The green film covers the whole of face B."


def judged(cell: Cell, by: User, note: str) -> None:
    mode = Term.objects.get(key="mode.passivation")
    one = Assigned(mode=mode, role="incidental", confidence="undetermined")
    judge(cell=cell, assigned=[one], by=by, note=note)


@pytest.fixture
def cell() -> Cell:
    return make_test(end="capacity_limit").cell


@pytest.mark.parametrize("address", ["/records/", "/"])
def test_a_judge_reads_why_another_judged_only_after_judging(
    client: Client, cell: Cell, address: str
) -> None:
    first, second = make_user("reviewer"), make_user("reviewer")
    judged(cell, first, NOTE)
    client.force_login(second)
    before = client.get(address).content.decode()
    judged(cell, second, "Seen otherwise.")
    after = client.get(address).content.decode()
    assert NOTE not in before
    assert "hidden until you have judged" in before
    assert NOTE in after


def test_who_does_not_judge_reads_the_reason(client: Client, cell: Cell) -> None:
    judged(cell, make_user("reviewer"), NOTE)
    client.force_login(make_user("operator"))
    assert NOTE in client.get("/records/").content.decode()


def test_ones_own_reason_is_never_hidden(client: Client) -> None:
    by, cell = make_user("lead"), make_cell()
    make_test(cell, end="capacity_limit")
    judged(cell, by, NOTE)
    client.force_login(by)
    assert NOTE in client.get("/records/").content.decode()
