"""Balance, ledgers and capacities as they are seen, with numbers in them; an assumption stated by hand."""

from itertools import cycle
from typing import Any

import pytest
from playwright.sync_api import expect

from teardown.files.tasks import work_off
from teardown.findings.actions import ask_balance
from tests import eyes
from tests.findings.test_balance import Balanced
from tests.makers import make_build, make_cell, make_user

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
FACTS = {"inert_mass_g": 0.048, "build_mass_g": 60.0, "iron_mass_g": 1.2}


@pytest.fixture
def laboratory() -> dict[str, Any]:
    """Make a recipe with a time-zero cell, one that tells and one that does not."""
    analyst, build = make_user("analyst"), make_build()
    zero = Balanced(make_cell(build=build, time_zero=True, **FACTS)).cell
    ask_balance(cell=zero, by=analyst)
    work_off()
    told = Balanced(make_cell(build=build, **FACTS)).cell
    hidden = Balanced(make_cell(build=build, **FACTS), radiation="cu").cell
    for cell in (told, hidden):
        ask_balance(cell=cell, by=analyst)
    work_off()
    return {"analyst": analyst, "told": told, "hidden": hidden, "recipe": build.revision.recipe}


def test_no_page_of_the_balance_shuts_anyone_out(visit: eyes.Visit, laboratory: dict[str, Any]) -> None:
    pages = (
        f"/cells/{laboratory['told'].code}/balance/",
        f"/cells/{laboratory['hidden'].code}/balance/",
        f"/cells/{laboratory['told'].code}/",
        "/ledgers/",
        "/ledgers/?measure=share",
        f"/capacity/?recipe={laboratory['recipe'].code}",
        "/methods/refusals/",
    )
    found = {}
    for path, (scheme, size) in zip(pages, cycle((("dark", "tablet"), ("light", "desk"))), strict=False):
        page = visit(path, laboratory["analyst"], scheme=scheme, size=size)
        found[f"{path} in {scheme}, {size}"] = eyes.faults(page)
        page.context.close()
    assert {path: faults for path, faults in found.items() if faults} == {}
    assert visit.complaints == []


def test_an_assumption_is_stated_by_keys_alone(visit: eyes.Visit, laboratory: dict[str, Any]) -> None:
    page = visit(f"/cells/{laboratory['told'].code}/balance/", laboratory["analyst"])
    line = page.locator("details.statement", has_text="Amorphous share")
    line.locator("summary").focus()
    page.keyboard.press("Enter")
    line.get_by_label("From", exact=True).focus()
    page.keyboard.type("2")
    page.keyboard.press("Tab")
    page.keyboard.type("5")
    page.keyboard.press("Tab")
    page.keyboard.type("a standard was added")
    page.keyboard.press("Enter")
    expect(page.get_by_text("The balance is made again with it.")).to_be_visible()
    work_off()
    page.reload()
    table = page.get_by_role("region", name="Table of what was assumed")
    expect(table).to_contain_text("2 to 5 %")
    expect(table).to_contain_text("a standard was added")


def test_a_flag_leads_to_what_its_code_means(visit: eyes.Visit, laboratory: dict[str, Any]) -> None:
    page = visit(f"/cells/{laboratory['hidden'].code}/balance/", laboratory["analyst"])
    page.get_by_role("link", name="balance.W010").first.click()
    expect(page).to_have_url(f"{visit.address}/methods/refusals/#balance.W010")
    expect(page.locator("[id='balance.W010']")).to_be_in_viewport()
    expect(page.locator("[id='balance.W010']")).to_contain_text("cobalt or molybdenum")
