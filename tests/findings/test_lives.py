"""Lives: stopped tests count as stopped, modes compete, and few cells draw no curve."""

import pytest
from django.urls import reverse

from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.findings.actions import judge
from teardown.findings.dossier.lives import lives_of
from teardown.findings.dossier.modes import Question, modes_of
from tests.findings.findings import Opened, make_run, rooted
from tests.makers import make_build, make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db


def summarised(test: Test, cycles: int) -> None:
    run = make_run("cycling.summarise", f"cells.test:{test.pk}", again=cycles)
    TestSummary.objects.create(test=test, run=run, status="reached", n_cycles=cycles, n_complete=cycles)


def lab(lives: dict[str, list[tuple[int, str]]]) -> None:
    """Make cells with their cycles and what ended them: a mode, "planned", or "" while running."""
    assessor = make_user("analyst")
    for additive, cells in lives.items():
        build = make_build(make_revision(additive=additive))
        for number, (cycles, what) in enumerate(cells):
            cell = make_cell(build=build)
            chamber = f"C{number % 2}"
            if what in ("", "planned"):
                summarised(make_test(cell, end=what or None, chamber=chamber), cycles)
                continue
            opened = Opened(cell, chamber=chamber)
            summarised(opened.test, cycles)
            judge(cell=cell, assigned=rooted(what, opened), by=assessor)


def asked():
    cells = Cell.objects.all()
    answer = modes_of(cells, Question())
    return lives_of(cells, answer, answer.level_of, answer.ended_by)


def test_half_of_the_cells_are_gone_at_the_median():
    lab({"tin": [(cycles, "passivation") for cycles in (10, 20, 30, 40, 50)]})
    (level,) = asked().levels
    assert level.curve.median == 30
    assert level.median.startswith("30 (")


def test_stopped_and_running_tests_are_no_failures():
    lab({"tin": [(10, "passivation"), (20, "planned"), (30, ""), (40, "planned"), (50, "")]})
    (level,) = asked().levels
    assert (level.cells, level.failed) == (5, 1)
    assert level.curve.survival[-1] == pytest.approx(0.8)
    assert level.median == "more than half still ran when last seen"


def test_a_cell_that_the_laboratory_ended_counts_as_stopped():
    lab({"tin": [(cycles, "channel_fault") for cycles in (10, 20)] + [(30, "short")] * 4})
    assert asked().levels[0].failed == 4


def test_a_failed_cell_that_nobody_judged_ends_undetermined():
    lab({"tin": [(10, "short")] * 5})
    summarised(make_test(make_cell(build=Cell.objects.first().build), end="voltage_limit"), 12)
    lives = asked()
    assert lives.levels[0].failed == 6
    shares = {share.name: share.value for share in lives.stacks.rows[0].shares}
    assert sum(shares.values()) == pytest.approx(1.0)


def test_shares_of_modes_and_of_running_cells_add_up_to_one():
    lab({"tin": [(10, "short"), (20, "passivation"), (30, "leak"), (40, ""), (50, "planned"), (60, "short")]})
    (row,) = asked().stacks.rows
    assert sum(share.value for share in row.shares) == pytest.approx(1.0)


def test_levels_are_compared_by_log_rank():
    lab({"tin": [(10 + i, "short") for i in range(6)], "zinc": [(100 + i, "short") for i in range(6)]})
    lives = asked()
    assert lives.compared.p < 0.01
    assert "Log-rank" in lives.test


def test_few_cells_draw_no_curve():
    lab({"tin": [(10, "short")] * 4})
    lives = asked()
    assert lives.figure is None
    assert lives.levels[0].median == "too few to draw"


def test_cells_without_a_history_are_left_out_and_counted():
    lab({"tin": [(10, "short")] * 5})
    make_test(make_cell(build=Cell.objects.first().build))
    assert asked().left_out == 1
    assert "1 cell without a cycling history left out" in asked().sentence


def test_the_page_draws_lives(client):
    lab({"tin": [(10 + i, "short") for i in range(6)], "zinc": [(100 + i, "leak") for i in range(6)]})
    client.force_login(make_user("analyst"))
    page = client.get(reverse("modes")).content.decode()
    assert "How long they lasted" in page
    assert "12 cells, 12 ended by a failure" in page
    assert "By which mode cells had ended after" in page
