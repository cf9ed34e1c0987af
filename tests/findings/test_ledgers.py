"""Recipes by their ledgers: medians over cells that can tell, and the others named with their reasons."""

from statistics import median

import pytest
from django.urls import reverse

from teardown.cells.models import Cell
from teardown.files.tasks import work_off
from teardown.findings.actions import ask_balance
from teardown.findings.dossier.ledgers import ledgers
from tests.findings.findings import Opened
from tests.findings.test_balance import Balanced
from tests.makers import make_build, make_cell, make_user

pytestmark = pytest.mark.django_db
FACTS = {"inert_mass_g": 0.048, "build_mass_g": 60.0}


@pytest.fixture
def laboratory():
    """One recipe with a time-zero cell and two that tell; one whose cells cannot, each for its reason."""
    analyst = make_user("analyst")
    first, second = make_build(), make_build()
    zero = Balanced(make_cell(build=first, time_zero=True, iron_mass_g=1.2, **FACTS)).cell
    ask_balance(cell=zero, by=analyst)
    work_off()
    told = [Balanced(make_cell(build=first, iron_mass_g=mass, **FACTS)).cell for mass in (1.20, 1.25)]
    hidden = Balanced(make_cell(build=second, iron_mass_g=1.2, **FACTS), radiation="cu").cell
    bare = Opened(make_cell(build=second)).cell
    silent = Opened(make_cell(build=second)).cell
    for cell in (*told, hidden, bare):
        ask_balance(cell=cell, by=analyst)
    work_off()
    make_cell(build=second)  # not opened: not spoken of
    return {"first": first, "second": second, "zero": zero, "told": told, "others": (hidden, bare, silent)}


def test_the_median_is_over_the_cells_that_tell(laboratory):
    page = ledgers(Cell.objects.all())
    first = next(each for each in page.recipes if each.recipe == laboratory["first"].revision.recipe)
    assert list(first.cells) == laboratory["told"]
    assert [one.cells for one in first.lacking] == [(laboratory["zero"],)]
    assert "time zero" in first.lacking[0].why
    assert all(term.estimate.n == 2 for term in first.terms)
    # 0.640 Ah less 0.402 Ah and what was lost at rest (9 h at 8 % a day), by the iron of each cell
    loss = 1000 * (0.640 - 0.402 * 1.03)
    assert first.loss.value == pytest.approx(median([loss / 1.20, loss / 1.25]), rel=0.02)
    parts = sum(term.estimate.value for term in first.terms)
    assert parts == pytest.approx(first.loss.value, rel=0.05)


def test_a_time_zero_cell_does_not_ask_for_a_time_zero_cell(client, laboratory):
    client.force_login(make_user("analyst"))
    page = client.get(reverse("balance", args=[laboratory["zero"].code])).content.decode()
    assert "This cell was opened at time zero" in page
    assert "No cell of this recipe was opened" not in page


def test_the_table_of_parts_names_each_recipe_once(client, laboratory):
    client.force_login(make_user("analyst"))
    page = client.get(reverse("ledgers")).content.decode()
    code = laboratory["first"].revision.recipe.code
    table = page.partition("<table")[2].partition("</table>")[0]
    assert table.count(f">{code}</a>") == 1
    assert 'rowspan="5"' in table
    assert table.count("oxide that can no longer be reduced") == 1


def test_shares_are_compared_where_they_may_be_said(laboratory):
    page = ledgers(Cell.objects.all(), "share")
    first = next(each for each in page.recipes if each.recipe == laboratory["first"].revision.recipe)
    assert sum(term.estimate.value for term in first.terms) == pytest.approx(1.0, abs=0.05)
    assert {term.estimate.unit for term in first.terms} == {"1"}


def test_who_lacks_a_ledger_is_named_with_the_reason(laboratory):
    page = ledgers(Cell.objects.all())
    second = next(each for each in page.recipes if each.recipe == laboratory["second"].revision.recipe)
    why = {cell: one.why for one in second.lacking for cell in one.cells}
    hidden, bare, silent = laboratory["others"]
    assert "copper" in why[hidden]
    assert "still needs" in why[bare]
    assert "dry mass" in why[bare]
    assert why[silent] == "Nobody has asked for its balance."
    assert set(why) == {hidden, bare, silent}
    assert second.cells == ()


def test_the_page_and_its_table(client, laboratory, django_assert_max_num_queries):
    client.force_login(make_user("analyst"))
    with django_assert_max_num_queries(10):
        page = client.get(reverse("ledgers")).content.decode()
    assert "The ledgers of 2 cells in 1 recipe; 4 opened cells do not count" in page
    assert "lowest to highest" in page
    assert laboratory["told"][0].code in page
    rows = client.get(reverse("ledgers_csv")).getvalue().decode().splitlines()
    assert rows[0].lstrip("\ufeff").startswith("recipe,term,median")
    assert len(rows) == 5


def test_a_laboratory_without_balances_says_so(client):
    client.force_login(make_user("analyst"))
    page = client.get(reverse("ledgers")).content.decode()
    assert "No balance of a cell can be relied on yet" in page
