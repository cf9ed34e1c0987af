"""Next round: leaders are repeated, what changed together is parted, and no life is predicted."""

import pytest
from django.urls import reverse

from teardown.findings.dossier.next_round import next_round
from tests.findings.test_lives import summarised
from tests.makers import make_build, make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db


def cycled(code: str, lives: list[int], **recipe) -> None:
    build = make_build(make_revision(code, **recipe))
    for cycles in lives:
        summarised(make_test(make_cell(build=build), end="capacity_limit"), cycles)


def test_the_recipes_that_lasted_longest_are_built_again():
    cycled("R-1", [40, 50, 60])
    cycled("R-2", [200, 220, 260])
    cycled("R-3", [100, 110, 120])
    assert [each.recipe for each in next_round().repeats] == ["R-2", "R-3"]
    assert next_round().repeats[0].reason.startswith("Half of its cells reached 220 cycles")


def test_two_cells_are_too_few_to_lead():
    cycled("R-1", [400, 500])
    assert next_round().repeats == ()


def test_factors_that_changed_together_are_named_and_parted():
    for number, (iron, additive) in enumerate([("fine iron", "tin")] * 3 + [("coarse iron", "zinc")] * 3):
        cycled(f"R-{number}", [50], iron=iron, additive=additive)
    page = next_round()
    assert ("additive", "iron") in page.together or ("iron", "additive") in page.together
    assert page.gaps[0].pairs
    assert any("fine iron" in pair and "zinc" in pair for gap in page.gaps for pair in gap.pairs)


def test_an_amount_without_its_additive_is_never_proposed():
    cycled("R-1", [50], additive="tin", share=0.04)
    cycled("R-2", [50], additive="zinc", share=0.01, koh=5.0)
    for gap in next_round().gaps:
        assert not gap.filler.level.endswith("%")


def test_the_page_proposes_and_approves_nothing(client):
    cycled("R-1", [40, 50, 60], additive="tin")
    cycled("R-2", [70, 80, 90], additive="zinc", iron="sponge iron")
    client.force_login(make_user("analyst"))
    page = client.get(reverse("next_round")).content.decode()
    assert "A proposal is not an approval" in page
    assert "No life is predicted" in page
    assert "R-2" in page


def test_an_empty_lab_has_nothing_to_build_on(client):
    client.force_login(make_user("lead"))
    assert "nothing to build on" in client.get(reverse("next_round")).content.decode()


def test_the_number_of_questions_does_not_grow(django_assert_num_queries):
    cycled("R-1", [50, 60, 70])
    with django_assert_num_queries(6):
        next_round()
    cycled("R-2", [50, 60, 70], additive="tin")
    with django_assert_num_queries(6):
        next_round()
