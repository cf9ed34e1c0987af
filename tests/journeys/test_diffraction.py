"""A powder pattern from file to accepted phases, in a real browser, and beside that of another cell."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from teardown.accounts.models import User
from teardown.diffraction.models import Fit, Pattern, Review
from teardown.files.tasks import work_off
from tests import eyes, makers
from tests.diffraction.patterns import make_pattern, make_piece, pattern_file

pytestmark = [pytest.mark.long, pytest.mark.browser, pytest.mark.django_db(transaction=True)]
expect = pytest.importorskip("playwright.sync_api").expect


@pytest.fixture
def operator(transactional_db: None) -> User:
    return makers.make_user("operator", "analyst", username="operator")


@pytest.fixture
def page(browser: Any, live_server: Any, operator: User) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    context.add_cookies([{"name": "sessionid", "value": eyes.session_of(operator), "url": live_server.url}])
    page = context.new_page()
    page.troubles = []
    page.on("pageerror", lambda error: page.troubles.append(str(error)))
    page.on("console", lambda said: page.troubles.append(said.text) if said.type == "error" else None)
    yield page
    context.close()


def test_a_pattern_is_brought_fitted_looked_at_and_accepted(
    page: Any, live_server: Any, operator: User, tmp_path: Path
) -> None:
    sample = make_piece("3234567A", cell=makers.make_cell("SP-0471"))
    file = tmp_path / "SP-0471.xy"
    file.write_bytes(pattern_file())

    page.goto(live_server.url + reverse("add_pattern"))
    assert eyes.faults(page) == []
    page.set_input_files("input[type=file]", str(file))
    page.locator("main [name=sample]").fill(sample.code)
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("#pending")).to_contain_text("The pattern is being fitted.")
    work_off()
    expect(page.locator("#look-head")).to_be_visible(timeout=60_000)  # the page comes anew by itself
    assert eyes.faults(page) == []

    _drag_over_counts(page)
    expect(page).to_have_url(re.compile(r"low=\d+\.\d\d&high=\d+\.\d\d"))
    page.locator("[name=scale]").select_option("log")
    page.get_by_role("button", name="Look", exact=True).click()
    expect(page).to_have_url(re.compile("scale=log"))
    page.get_by_role("link", name="Whole pattern").click()

    page.get_by_text("Fit with other phases").click()
    form = page.locator("form.phases")
    for box in form.get_by_role("checkbox").all():
        box.set_checked(box.get_attribute("value") in {"iron", "spinel", "iron-hydroxide"})
    form.locator("[name=grain_low_um]").fill("1")
    form.locator("[name=grain_high_um]").fill("2")
    form.locator("[name=reason]").fill("three phases are enough")
    form.get_by_role("button", name="Fit", exact=True).click()
    expect(page.locator("#pending")).to_contain_text("being fitted")
    work_off()
    expect(page.locator("#history tbody tr")).to_have_count(2, timeout=60_000)

    page.locator("#fit-reason").fill("Grains seen on the micrograph; lines looked at.")
    page.get_by_role("button", name="Accept").click()
    expect(page.locator("#phases .part-head")).to_contain_text("accepted: Grains seen")
    assert Review.objects.get().reason.startswith("Grains seen")

    page.get_by_text("Fractions that someone refined elsewhere").click()
    page.locator("[name=text]").fill("iron 50.3(5)\nmagnetite 29.9(5)\nFe(OH)2 19.8(4)\nRwp 7.2")
    page.locator("[name=source]").fill("a colleague")
    page.get_by_role("button", name="Keep them").click()
    work_off()
    page.goto(live_server.url + reverse("pattern", args=[Pattern.objects.get().pk]))
    expect(page.locator("#history tbody tr")).to_have_count(3)
    expect(page.locator("#phases .part-head")).to_contain_text(
        "fitted here, accepted"
    )  # what was accepted stands
    page.locator("#history tbody tr", has_text="a colleague").get_by_role("link").click()
    expect(page.locator("#phases")).to_contain_text("50.30")
    assert eyes.faults(page) == []
    assert Fit.objects.count() == 3
    assert page.troubles == []


def test_patterns_of_two_cells_stand_over_one_axis(page: Any, live_server: Any, operator: User) -> None:
    for number, weights in enumerate(({"iron": 0.7, "magnetite": 0.3}, {"iron": 0.2, "magnetite": 0.8})):
        piece = make_piece(f"{number + 4}234567A", cell=makers.make_cell(f"SP-048{number}"))
        file = pattern_file(weights, seed=number)
        make_pattern(operator, file=file, sample=piece, name=f"{number}.xy", phases=["iron", "spinel"])
    work_off()
    page.goto(live_server.url + reverse("patterns"))
    for box in page.get_by_role("checkbox").all():
        box.check()
    page.get_by_role("button", name="over one another").click()
    for how in ("over", "stacked"):
        expect(page).to_have_url(re.compile(f"how={how}"))
        expect(page.locator("svg.drawing").first).to_contain_text("SP-0480")
        expect(page.locator("svg.drawing").first).to_contain_text("SP-0481")
        assert eyes.faults(page) == []
        page.locator("[name=how]").select_option("stacked")
        page.get_by_role("button", name="Look", exact=True).click()
    assert page.troubles == []


def _drag_over_counts(page: Any) -> None:
    """Drag over the middle of the counts."""
    box = page.locator(".fitted svg.drawing").nth(1).bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.35 * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.45 * box["width"], y, steps=4)
    page.mouse.move(box["x"] + 0.55 * box["width"], y, steps=4)
    page.mouse.up()
