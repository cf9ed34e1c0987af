"""The desk beside the bench, in a browser: an old table brought in, a sheet typed, bench time given."""

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from teardown.dissection.models import BenchTime, Entry
from tests import eyes, makers
from tests.dissection.makers import PNG, ended

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
TABLE = """cell;day;seen by;dry mass (mg);iron electrode colour
SP-0101;2021-03-04;A. Former;1 510;greenish
SP-9999;2021-03-04;A. Former;1 510;
"""


@pytest.fixture
def chemist(transactional_db: None) -> Any:
    return makers.make_user("bench", username="chemist")


def test_an_old_table_is_explained_looked_at_and_written(visit: eyes.Visit, chemist: Any) -> None:
    build = makers.make_build()
    build.built_on = dt.date(2020, 1, 1)
    build.save()
    makers.make_cell("SP-0101", build=build)
    page = visit(reverse("older_records"), chemist)
    table = {"name": "old.csv", "mimeType": "text/csv", "buffer": TABLE.encode()}
    page.get_by_label("CSV file or XLSX workbook").set_input_files(table)
    page.get_by_role("button", name="look at it").click()
    expect(page.get_by_role("heading", name="What its columns are")).to_be_visible()
    assert eyes.faults(page) == []
    page.get_by_role("button", name="read it so").click()
    expect(page.get_by_text("No cell SP-9999 is known")).to_be_visible()
    page.locator("[name=word_0]").select_option(label="green film")
    page.get_by_role("button", name="read it again").click()
    expect(page.get_by_role("cell", name="green film")).to_be_visible()
    page.get_by_label("Leave out what was refused").check()
    if page.get_by_label("I read the unusual numbers again").count():
        page.get_by_label("I read the unusual numbers again").check()
    page.get_by_role("button", name="write what was understood").click()
    expect(page.get_by_text("It is written.")).to_be_visible()
    assert eyes.faults(page) == []
    assert set(Entry.objects.values_list("source", "observer_named")) == {("transcribed", "A. Former")}
    page.goto(visit.address + reverse("bench_sheet", args=["SP-0101"]))
    expect(page.get_by_text("time of day not known").first).to_be_visible()
    assert visit.complaints == []


def test_a_sheet_is_typed_and_its_mass_keyed_twice(visit: eyes.Visit, chemist: Any) -> None:
    ended("SP-0413", chemist)
    page = visit(reverse("paper_begin", args=["SP-0413"]), chemist, scheme="dark", size="tablet")
    sheet = {"name": "page.png", "mimeType": "image/png", "buffer": PNG}
    page.get_by_label("The photographed sheet").set_input_files(sheet)
    page.get_by_label("Day on the sheet").fill(str(timezone.localdate() - dt.timedelta(days=1)))
    page.get_by_role("button", name="keep it, and type it in").click()
    mass = page.locator('[name="SP-0413|dry.mass_g|component.iron_electrode|1||"]')
    expect(mass).to_be_visible()
    mass.fill("1,512")
    page.get_by_role("button", name="keep what is typed in").click()
    again = page.get_by_label("dry mass, iron electrode, g, second keying")
    expect(again).to_be_empty()
    assert eyes.faults(page) == []
    again.fill("1,521")
    page.get_by_role("button", name="compare them").click()
    page.get_by_label("dry mass, iron electrode, as the sheet says, g").fill("1,512")
    page.get_by_role("button", name="so it stands there").click()
    expect(page.get_by_text("1 kept, as transcribed.")).to_be_visible()
    assert Entry.objects.get().source_words == "on paper: keyed 1,512, then 1,521; compared with the sheet"
    assert visit.complaints == []


def test_the_lead_gives_bench_time(visit: eyes.Visit, chemist: Any) -> None:
    lead = makers.make_user("lead", username="lead")
    makers.make_test(makers.make_cell("SP-0420"), end="leak")
    page = visit(reverse("waiting"), lead)
    page.get_by_label("Person-hours of the bench a working day").fill("6")
    page.locator("#load form button").click()
    expect(page.get_by_text("The hours of the bench are kept.")).to_be_visible()
    page.get_by_role("row", name="SP-0420").locator("summary").click()
    page.get_by_label("who opens SP-0420").select_option(str(chemist.pk))
    page.get_by_label("on which day SP-0420").fill(str(timezone.localdate() + dt.timedelta(days=1)))
    page.get_by_label("part of the day of SP-0420").select_option("morning")
    page.get_by_role("row", name="SP-0420").get_by_role("button", name="keep").click()
    expect(page.get_by_text("Bench time of SP-0420 is kept.")).to_be_visible()
    given = BenchTime.objects.get()
    assert (given.person, given.slot, given.drawn) == (chemist, "morning", False)
    assert eyes.faults(page) == []
    assert visit.complaints == []
