"""Modes: true counts, undetermined cells as bounds, chambers as the number, words that claim no cause."""

import re

import pytest
from django.urls import reverse

from teardown.cells.models import Cell
from teardown.findings.actions import Assigned, decide, judge
from teardown.findings.dossier import telling
from teardown.findings.dossier.factors import FACTORS
from teardown.findings.dossier.modes import Question, modes_of
from tests.findings.findings import Opened, mode, passivated, rooted
from tests.makers import make_build, make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db
CAUSAL = re.compile(r"\b(causes?|caused|leads? to|due to|because of|proves?|significant)", re.IGNORECASE)


def lab(counts: dict[str, list[str]], *, chambers: tuple[str, ...] = ("C1", "C2")) -> None:
    """Judge cells of recipes that differ in the additive; ``counts`` gives the root of each cell."""
    assessor = make_user("analyst")
    for additive, roots in counts.items():
        build = make_build(make_revision(additive=additive))
        for number, root in enumerate(roots):
            opened = Opened(make_cell(build=build), chamber=chambers[number % len(chambers)])
            if root == "undetermined":
                given = [Assigned(mode(root), "root", "undetermined", words="The section was lost.")]
            else:
                given = rooted(root, opened)
            judge(cell=opened.cell, assigned=given, by=assessor)


def ask(**question):
    return modes_of(Cell.objects.all(), Question(**question))


def rate(answer, name: str, level: str):
    (row,) = [row for row in answer.rows if row.mode.key == f"mode.{name}"]
    (found,) = [rate for rate in row.rates if rate.level.name == level]
    return found


def test_counts_are_of_cells_with_the_mode_among_cells_told():
    lab({"tin": ["passivation"] * 4 + ["short"] * 2, "zinc": ["passivation"] + ["short"] * 5})
    answer = ask()
    found = rate(answer, "passivation", "tin")
    assert (found.count, found.number, found.estimate.n) == (4, 6, 6)
    assert rate(answer, "passivation", "zinc").estimate.value == pytest.approx(1 / 6)


def test_each_told_cell_counts_once_under_its_root():
    lab({"tin": ["passivation", "short", "leak", "short", "flooding"], "zinc": ["leak"] * 5})
    answer = ask()
    for level in ("tin", "zinc"):
        assert sum(rate.count for row in answer.rows for rate in row.rates if rate.level.name == level) == 5


def test_undetermined_cells_are_bounds_and_never_dropped():
    lab({"tin": ["passivation"] * 3 + ["short"] * 3 + ["undetermined"] * 2})
    found = rate(ask(), "passivation", "tin")
    assert (found.count, found.number, found.undetermined) == (3, 6, 2)
    assert (found.least, found.most) == (3 / 8, 5 / 8)


def test_cells_ended_by_a_fault_of_the_laboratory_are_left_out_and_counted():
    lab({"tin": ["passivation"] * 5 + ["channel_fault"] * 3})
    answer = ask()
    assert rate(answer, "passivation", "tin").number == 5
    assert answer.levels[0].artefacts == 3


def test_fewer_than_five_cells_give_counts_only():
    lab({"tin": ["passivation"] * 3 + ["short"]})
    found = rate(ask(), "passivation", "tin")
    assert found.estimate is None
    assert found.why_not == "too few to give a rate"
    assert "3 of 4 with tin" in telling.sentence(ask())


def test_contributing_modes_count_only_when_asked_for():
    opened = Opened()
    given = [
        *passivated(opened),
        Assigned(mode("pore_closure"), "contributing", "possible", for_=[opened.entry]),
    ]
    judge(cell=opened.cell, assigned=given, by=make_user("analyst"))
    assert [row.mode.key for row in ask().rows] == ["mode.passivation"]
    assert {row.mode.key for row in ask(contributing=True).rows} == {"mode.passivation", "mode.pore_closure"}


def test_a_root_below_the_grade_asked_for_is_undetermined():
    opened, other = Opened(), Opened()
    judge(cell=opened.cell, assigned=passivated(opened), by=make_user("analyst"))
    judge(cell=other.cell, assigned=rooted("passivation", other), by=make_user("analyst"))
    found = rate(ask(grade="confirmed"), "passivation", "bismuth sulfide")
    assert (found.count, found.number, found.undetermined) == (1, 1, 1)


def test_assessors_who_differ_leave_a_cell_undetermined_until_it_is_decided():
    opened = Opened()
    one = judge(cell=opened.cell, assigned=passivated(opened), by=make_user("analyst"))
    judge(cell=opened.cell, assigned=rooted("short", opened), by=make_user("reviewer"))
    assert ask().levels[0].undetermined == 1
    decide(cell=opened.cell, outcome=one, reason="Two kinds agree.", by=make_user("lead"))
    assert rate(ask(), "passivation", "bismuth sulfide").count == 1


def test_assessors_who_agree_count_once():
    opened = Opened()
    for role in ("analyst", "reviewer"):
        judge(cell=opened.cell, assigned=passivated(opened), by=make_user(role))
    found = rate(ask(), "passivation", "bismuth sulfide")
    assert (found.count, found.number) == (1, 1)


def test_a_proposal_counts_nowhere():
    opened = Opened()
    judge(cell=opened.cell, assigned=passivated(opened), by=make_user("bench"), proposal=True)
    assert ask().rows == ()
    assert ask().levels[0].judged == 0


def test_chambers_that_each_hold_one_level_are_the_number():
    lab({"tin": ["passivation"] * 6 + ["short"] * 4}, chambers=("C1", "C2"))
    lab({"zinc": ["passivation"] * 2 + ["short"] * 8}, chambers=("C3", "C4"))
    answer = ask()
    assert answer.clustered
    assert answer.least_p == pytest.approx(1 / 3)
    assert rate(answer, "passivation", "tin").estimate.half_width > 0.25
    assert "chambers, not cells, are the number" in telling.difference(answer)
    assert "Student's t" in rate(answer, "passivation", "tin").estimate.method


def test_a_level_from_one_chamber_gives_no_interval():
    lab({"tin": ["passivation"] * 6}, chambers=("C1",))
    lab({"zinc": ["passivation"] * 6}, chambers=("C3", "C4"))
    assert rate(ask(), "passivation", "tin").why_not == "all from one chamber, so no interval"


def test_factors_that_changed_together_are_named():
    lab({"tin": ["passivation"] * 6}, chambers=("C1", "C2"))
    assessor = make_user("analyst")
    build = make_build(make_revision(additive="zinc", iron="sponge iron"))
    for _ in range(6):
        opened = Opened(make_cell(build=build), chamber="C1")
        judge(cell=opened.cell, assigned=rooted("short", opened), by=assessor)
    assert ask().together == ("iron",)


def test_the_difference_is_said_with_its_interval_and_never_as_a_cause():
    lab({"tin": ["passivation"] * 11 + ["short"], "zinc": ["passivation"] * 1 + ["short"] * 11})
    answer = ask(mode="mode.passivation")
    said = telling.difference(answer)
    assert said.startswith("It was seen more often with tin than with zinc: 83 points, 95 % interval 4")
    assert not CAUSAL.search(said + telling.sentence(answer))


def test_built_running_and_waiting_cells_are_told_apart():
    lab({"tin": ["passivation"] * 5})
    build = Cell.objects.first().build
    make_test(make_cell(build=build))
    make_test(make_cell(build=build), end="planned")
    make_cell(build=build)
    (level,) = ask().levels
    assert (level.built, level.running, level.judged, level.waiting) == (8, 1, 5, 2)


def test_every_factor_can_be_asked_by():
    lab({"tin": ["passivation"] * 5, "zinc": ["short"] * 5})
    for factor in FACTORS:
        answer = ask(factor=factor)
        assert sum(level.judged for level in answer.levels) == 10
        assert telling.plot(answer) is not None


def test_levels_stand_in_the_order_of_their_amounts():
    assessor = make_user("analyst")
    for share in (0.04, 0.005, 0.12):
        opened = Opened(make_cell(build=make_build(make_revision(share=share))))
        judge(cell=opened.cell, assigned=passivated(opened), by=assessor)
    names = [level.name.replace("\u202f", " ") for level in ask(factor="additive_amount").levels]
    assert names == ["0.5 %", "4 %", "12 %"]


def test_the_number_of_questions_does_not_grow_with_the_cells(django_assert_num_queries):
    lab({"tin": ["passivation"] * 3})
    with django_assert_num_queries(8):
        ask()
    lab({"zinc": ["short"] * 9})
    with django_assert_num_queries(8):
        ask()


def test_the_page_answers_in_words_numbers_and_a_figure(client):
    lab({"tin": ["passivation"] * 8 + ["short"] * 4, "zinc": ["short"] * 11 + ["undetermined"]})
    client.force_login(make_user("analyst"))
    asked = {"factor": "additive", "mode": "mode.passivation"}
    page = client.get(reverse("modes"), asked).content.decode()
    assert "8 of 12 cells with tin" in page
    assert "<svg" in page
    assert "look different by chance alone" in page
    assert "1 undetermined" in page
    assert re.search(r"record \d+, release", page)
    assert not CAUSAL.search(page)


def test_the_page_asks_a_fixed_number_of_questions(client, django_assert_max_num_queries):
    lab({"tin": ["passivation"] * 6, "zinc": ["short"] * 6})
    client.force_login(make_user("analyst"))
    with django_assert_max_num_queries(24):
        client.get(reverse("modes"), {"factor": "temperature"})


def test_the_filter_chooses_cells_and_stands_in_the_stamp(client):
    lab({"tin": ["passivation"] * 6, "zinc": ["short"] * 6})
    client.force_login(make_user("analyst"))
    recipe = Cell.objects.first().build.revision.recipe
    page = client.get(reverse("modes"), {"recipe": recipe.pk, "factor": "additive"}).content.decode()
    assert "6 of 6 cells with tin" in page
    assert "zinc" not in page.split("The cells behind it")[1]
    assert f"recipe {recipe}" in page


def test_a_filter_that_cannot_be_read_is_refused_at_its_field(client):
    client.force_login(make_user("analyst"))
    page = client.get(reverse("modes"), {"warmest": "hot", "factor": "additive"}).content.decode()
    assert "“hot” is not a number" in page


def test_the_file_holds_what_is_shown(client):
    lab({"=tin": ["passivation"] * 6, "zinc": ["short"] * 6})
    client.force_login(make_user("analyst"))
    rows = client.get(reverse("modes_csv")).content.decode().splitlines()
    assert rows[0].startswith('"# record') or rows[0].startswith("# record")
    assert rows[1].startswith("mode,factor,level,cells with the mode,cells told")
    assert len(rows) == 2 + 4
    assert any(row.startswith("passivation by an oxide film,additive,'=tin,6,6,0,1.0,") for row in rows)


def test_who_may_not_see_recipes_is_not_told_them(client):
    lab({"tin": ["passivation"] * 6})
    client.force_login(make_user("bench"))
    page = client.get(reverse("modes")).content.decode()
    assert "amount of additive" not in page
    assert Cell.objects.first().build.revision.recipe.code not in page
    assert "build" not in client.get(reverse("modes"), {"factor": "build"}).context["answer"].question.factor


def test_a_guest_counts_closed_cells_only(client):
    lab({"tin": ["passivation"] * 6})
    client.force_login(make_user("guest"))
    assert client.get(reverse("modes")).context["answer"].levels == ()


def test_an_empty_lab_says_what_to_do(client):
    client.force_login(make_user("analyst"))
    assert "No cell that fits has been judged yet" in client.get(reverse("modes")).content.decode()
