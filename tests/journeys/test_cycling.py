"""A cycling file from upload to chosen cycles, in a real browser."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from teardown.cells.models import Test
from teardown.files.tasks import work_off
from teardown.formats.series_write import Dialect, write_text
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from tests import eyes, makers

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
HEADERS = {
    "test_time_second": ("Time", 1.0),
    "current_ampere": ("Current [mA]", 1e3),
    "voltage_volt": ("Voltage [V]", 1.0),
}


@pytest.fixture
def test(transactional_db: None) -> Test:
    return makers.make_test(makers.make_cell("SP-0413"), end="capacity_limit")


@pytest.fixture
def page(browser: Any, live_server: Any, test: Test) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    user = makers.make_user("analyst", username="analyst")
    context.add_cookies([{"name": "sessionid", "value": eyes.session_of(user), "url": live_server.url}])
    page = context.new_page()
    page.troubles = []
    page.on("pageerror", lambda error: page.troubles.append(str(error)))
    page.on("console", lambda said: page.troubles.append(said.text) if said.type == "error" else None)
    yield page
    context.close()


def test_a_file_becomes_a_history_and_cycles_are_chosen_by_hand(
    page: Any, live_server: Any, test: Test, tmp_path: Path
) -> None:
    file = tmp_path / "SP-0413.csv"
    file.write_bytes(
        write_text(cycling_history(cycles=40, life=Life(knee_cycle=25)).series, Dialect(HEADERS))
    )
    page.goto(live_server.url + reverse("import_series", args=[test.pk]))
    page.set_input_files("input[type=file]", str(file))
    page.get_by_role("button", name="Show what it would give").click()
    page.wait_for_selector("text=Name the unit in a column map")
    assert eyes.faults(page) == []
    page.get_by_label("unit of Time").select_option("s")
    page.get_by_role("button", name="Read it again this way").click()
    page.get_by_role("button", name="Apply").click()
    page.wait_for_selector("text=its cycles are being computed")
    work_off()
    page.goto(live_server.url + reverse("history", args=[test.pk]) + "?cycles=3")
    assert eyes.faults(page) == []
    _click_cycle(page, 20)
    page.wait_for_url(re.compile(r"cycles=3%2C\+\d+"))
    assert page.locator("#chosen svg.drawing").count() == 2
    assert page.troubles == []


def _click_cycle(page: Any, place: int) -> None:
    """Click on a point of the capacity curve."""
    drawing = page.locator("#capacity svg.drawing")
    box = drawing.bounding_box()
    numbers = re.findall(r"-?\d+\.?\d*", drawing.locator(".series .curve").first.get_attribute("d"))
    width, height = (float(n) for n in drawing.get_attribute("viewBox").split()[2:])
    x, y = float(numbers[2 * place]), float(numbers[2 * place + 1])
    at = (box["x"] + x * box["width"] / width, box["y"] + y * box["height"] / height)
    page.mouse.move(*at)
    page.wait_for_timeout(100)
    page.mouse.click(*at)
