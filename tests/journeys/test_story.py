"""A cell's story through the doors that people have, in a real browser: brought, cycled, measured, judged."""

from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from teardown.cells.models import Cell, Test
from teardown.dissection.models import Sample
from teardown.files.tasks import work_off
from teardown.formats.series_write import write_bdf
from teardown.imaging.models import Micrograph, Review
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.phantoms import Microstructure, draw_section
from tests import eyes
from tests.dissection.makers import ended
from tests.makers import make_cell, make_revision, make_test, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def send(page: Any, file: Path, button: str) -> None:
    """Choose a file and press the button of its form; what is sent is opened by a child process first."""
    page.set_default_timeout(120_000)
    page.set_input_files("main input[type=file]", str(file))
    press(page, button)


def press(page: Any, button: str) -> None:
    """Press a button that sends its form, and wait for the page that answers."""
    with page.expect_navigation(timeout=120_000):
        page.get_by_role("button", name=button, exact=True).click()


def test_cells_are_brought_shown_first_and_then_written(visit: eyes.Visit, tmp_path: Path) -> None:
    make_revision("FeBi-4")
    table = tmp_path / "cells.csv"
    table.write_text(
        "cell,build,built on,recipe,revision,iron mass (g)\n"
        "SP-0701,B70,2031-02-01,FeBi-4,1,1.188\n"
        "SP-0702,B70,2031-02-01,FeBi-4,1,minus one\n"
    )
    page = visit(reverse("imports"), make_user("analyst"))
    send(page, table, "Look at it")
    assert page.get_by_role("heading", name="Refused").is_visible()
    assert "SP-0701" in page.locator("main").inner_text()
    assert Cell.objects.count() == 0
    page.locator("form[action$='/apply/'] input[type=checkbox]").check()
    press(page, "Write what was understood")
    assert list(Cell.objects.values_list("code", flat=True)) == ["SP-0701"]
    assert visit.complaints == []


def test_a_cycling_file_becomes_a_curve_on_the_page_of_its_cell(visit: eyes.Visit, tmp_path: Path) -> None:
    test: Test = make_test(make_cell("SP-0703"), end="capacity_limit")
    file = tmp_path / "SP-0703.bdf.csv"
    file.write_bytes(write_bdf(cycling_history(cycles=40, life=Life(knee_cycle=25), records=12).series))
    analyst = make_user("analyst")
    page = visit(reverse("import_series", args=[test.pk]), analyst)
    send(page, file, "Show what it would give")
    press(page, "Apply")
    work_off()
    page = visit(reverse("cell", args=["SP-0703"]), analyst)
    figure = page.locator("[data-figure-frame]").first
    figure.focus()
    page.keyboard.press("ArrowRight")
    assert "capacity" in (figure.locator(".reading").text_content() or "")
    assert visit.complaints == []


def test_a_section_is_brought_measured_and_accepted(visit: eyes.Visit, tmp_path: Path) -> None:
    from PIL import Image

    from teardown.dissection import actions as bench

    cell = ended("SP-0704", make_user("bench"))
    chemist = make_user("bench")
    sample: Sample = bench.cut_sample(
        by=chemist, dissection=cell.dissection, component="iron_electrode", place="M2"
    )
    drawn = draw_section(
        Microstructure(metal=0.4, covered=0.6), height=480, width=640, seed=7, oversampling=3
    )
    picture = tmp_path / "field 1.png"
    Image.fromarray(expose(drawn, Exposure(noise=0.03), seed=8)).save(picture)
    operator = make_user("operator")
    page = visit(reverse("add_micrographs"), operator)
    page.locator("#id_sample").fill(sample.code)
    page.locator("#id_pixel_size_um").fill("0,2")
    send(page, picture, "Keep them")
    work_off()
    micrograph = Micrograph.objects.get()
    page = visit(reverse("micrograph", args=[micrograph.pk]), operator)
    assert "porosity" in page.locator("#measured").inner_text().lower()
    press(page, "Accept")
    assert Review.objects.get().verdict == "accept"
    assert visit.complaints == []


def test_a_cell_is_judged_and_counted_among_the_modes(visit: eyes.Visit) -> None:
    from teardown.findings.models import Judgement
    from tests.review.makers import make_story

    make_story("SP-0413", seed=3)
    before = Judgement.objects.count()
    analyst = make_user("analyst")
    page = visit(reverse("judge", args=["SP-0413"]), analyst)
    line = page.locator("fieldset.line").first
    line.locator("select").nth(0).select_option(label="passivation by an oxide film")
    line.locator("select").nth(1).select_option("root")
    line.locator("select").nth(2).select_option("possible")
    page.locator("table.evidence tbody select").first.select_option("for")
    press(page, "Keep my judgement")
    assert Judgement.objects.count() == before + 1, page.locator("main").inner_text()
    page = visit(reverse("modes"), analyst)
    assert "passivation by an oxide film" in page.locator("main").inner_text()
    assert visit.complaints == []
