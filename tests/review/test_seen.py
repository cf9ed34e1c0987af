"""The pages of the review as they are seen: light and dark, on desk and tablet, by hand and by key."""

import re
from itertools import cycle
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from teardown.accounts.models import User
from teardown.cells.models import Cell
from tests import eyes
from tests.makers import make_cell, make_test, make_user
from tests.review.makers import make_story

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def reader() -> User:
    make_story("SP-0413", seed=3)
    story = make_story("SP-0414", seed=4, coverage=0.2)
    Cell.objects.filter(pk=story.cell.pk).update(closed_at=timezone.now())
    make_test(make_cell("SP-0415"))
    return make_user("operator", "analyst")


PAGES = (
    "/",
    "/cells/?coverage_from=1&alkali_from=x",
    "/cells/SP-0413/",
    "/cells/SP-0415/",
    "/side-by-side/?cell=SP-0413+SP-0414+SP-9999",
    "/records/",
    "/search/?q=sp",
    "/cells/no-such-cell/",
)


@pytest.mark.long  # the walk over every page looks at each once
def test_no_page_of_the_review_shuts_anyone_out(visit: eyes.Visit, reader: User) -> None:
    lights = cycle((("light", "desk"), ("dark", "tablet")))
    found: dict[str, list[str]] = {}
    for path, (scheme, size) in zip((*PAGES, "/cells/SP-0413/"), lights, strict=False):
        page = visit(path, reader, scheme=scheme, size=size)
        found[f"{path} in {scheme}, {size}"] = eyes.faults(page)
        page.context.close()
    assert {path: faults for path, faults in found.items() if faults} == {}
    assert [c for c in visit.complaints if "404" not in c] == []


@pytest.mark.long  # the walk over every page looks at each once
def test_the_door_shuts_no_one_out_either(visit: eyes.Visit) -> None:
    for scheme in ("light", "dark"):
        assert eyes.faults(visit("/sign-in/", scheme=scheme)) == []
    assert visit.complaints == []


def test_a_curve_is_read_by_key_and_by_pointer(visit: eyes.Visit, reader: User) -> None:
    page = visit("/cells/SP-0413/", reader)
    frame = page.locator("[data-figure-frame]").first
    frame.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(frame.locator(".reading")).to_have_text(re.compile(r"^SP-0413, capacity in Ah, cycle 2: 0\.\d+"))


def test_one_touch_bares_every_section(visit: eyes.Visit, reader: User) -> None:
    page = visit("/side-by-side/?cell=SP-0413+SP-0414", reader)
    page.get_by_role("button", name="classes shown").first.click()
    expect(page.locator(".section:not(.bare)")).to_have_count(0)
    page.get_by_role("button", name="image only").first.click()
    expect(page.locator(".section.bare")).to_have_count(0)


def test_focus_on_a_curve_marks_the_row_of_its_cell(visit: eyes.Visit, reader: User) -> None:
    page = visit("/side-by-side/?cell=SP-0413+SP-0414", reader)
    page.locator("tr[data-key='cell:SP-0414'] [data-figure-frame]").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("tr.is-focused")).to_have_attribute("data-key", "cell:SP-0414")


def test_light_and_dark_are_chosen_without_script(visit: eyes.Visit, reader: User) -> None:
    page = visit("/cells/", reader, java_script_enabled=False)
    page.locator(".head summary").last.click()
    page.get_by_role("button", name="dark").click()
    expect(page.locator("html")).to_have_attribute("data-scheme", "dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(25, 24, 22)"


def test_on_paper_the_navigation_is_gone_and_the_hatches_are_there(visit: eyes.Visit, reader: User) -> None:
    page = visit("/cells/SP-0413/", reader)
    page.emulate_media(media="print")
    assert not page.locator(".head").is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_everything_on_the_list_can_be_touched_with_a_gloved_finger(visit: eyes.Visit, reader: User) -> None:
    page: Any = visit("/cells/", reader, size="tablet")
    fields = "main button, main select, main input:not([type=hidden]):not([type=checkbox])"
    small = page.evaluate(
        "fields => [...document.querySelectorAll(fields)]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).map(e => e.outerHTML)",
        fields,
    )
    assert small == []
