"""Agreement: only blind pairs count, each cell once, and few readings give no verdict."""

import pytest
from django.urls import reverse

from teardown.cells.models import Cell
from teardown.findings.actions import judge, look_at_judgements
from teardown.findings.dossier.agreeing import agreed_on
from tests.findings.findings import Opened, rooted
from tests.makers import make_user

pytestmark = pytest.mark.django_db


def read_twice(pairs: list[tuple[str, str]]) -> None:
    one, other = make_user("analyst"), make_user("reviewer")
    for first, second in pairs:
        opened = Opened()
        judge(cell=opened.cell, assigned=rooted(first, opened), by=one)
        judge(cell=opened.cell, assigned=rooted(second, opened), by=other)


def test_the_same_root_is_agreement():
    read_twice([("short", "short")] * 3 + [("short", "leak")] + [("leak", "leak")] * 4)
    agreed = agreed_on(Cell.objects.all())
    assert agreed.found.observed == pytest.approx(7 / 8)
    assert agreed.found.n == 8
    short = next(mode for mode in agreed.modes if mode.words == "internal short")
    assert (short.either, short.both) == (4, 3)
    assert "give no verdict" in agreed.caution


def test_four_double_readings_are_too_few_to_say():
    read_twice([("short", "short")] * 4)
    assert "4 cells judged twice, blind: too few" in agreed_on(Cell.objects.all()).sentence


def test_who_looked_first_does_not_count():
    opened = Opened()
    reviewer = make_user("reviewer")
    judge(cell=opened.cell, assigned=rooted("short", opened), by=make_user("analyst"))
    look_at_judgements(cell=opened.cell, by=reviewer)
    judge(cell=opened.cell, assigned=rooted("short", opened), by=reviewer)
    assert agreed_on(Cell.objects.all()).found is None


def test_a_changed_mind_is_no_second_reading():
    opened, analyst = Opened(), make_user("analyst")
    judge(cell=opened.cell, assigned=rooted("short", opened), by=analyst)
    judge(cell=opened.cell, assigned=rooted("leak", opened), by=analyst)
    assert agreed_on(Cell.objects.all()).found is None


def test_the_page_says_how_well_they_agree(client):
    read_twice([("short", "short")] * 4 + [("short", "leak")])
    client.force_login(make_user("guest", "analyst"))
    page = client.get(reverse("modes")).content.decode()
    assert "5 cells judged twice, blind" in page
    assert "positive agreement" in page
