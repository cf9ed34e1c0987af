"""The table of phase fractions: fitted here, brought from elsewhere, and which of them is current."""

import pytest

from teardown.api.dossier.tables import TABLES, rows_of
from teardown.diffraction.actions import give_fractions, review
from teardown.diffraction.models import Fit
from teardown.files.tasks import work_off
from tests.diffraction.patterns import make_pattern, make_piece
from tests.makers import make_cell, make_user

pytestmark = pytest.mark.django_db
TABLE = TABLES["phase_fractions"]


@pytest.fixture
def people():
    return make_user("operator", "analyst", "reviewer")


def told(user, **asked):
    names = [c.name for c in TABLE.columns_for(user)]
    return [dict(zip(names, row, strict=True)) for row in rows_of(TABLE, user, **asked)]


def standing(user):
    """Give for each result whether it is external and current."""
    return {(row["external"], row["current"]) for row in told(user)}


def test_both_kinds_stand_and_one_is_current(people):
    sample = make_piece(cell=make_cell("SP-0461"))
    pattern = make_pattern(people, sample=sample, phases=["iron", "spinel", "iron-hydroxide"])
    work_off()
    give_fractions(result="iron 52.1(8)\nmagnetite 47.9(8)", pattern=pattern, by=people, source="a colleague")
    work_off()
    assert standing(people) == {(False, False), (True, True)}  # the latest, as nobody has judged
    ours = Fit.objects.get(run__function="diffraction.fit")
    review(fit=ours, verdict="accept", by=people, reason="looked at")
    assert standing(people) == {(False, True), (True, False)}
    rows = told(people, cell="SP-0461")
    assert {row["sample"] for row in rows} == {sample.code}
    assert {row["source"] for row in rows if row["external"]} == {"a colleague"}


def test_a_result_without_a_pattern_is_in_the_table(people):
    sample = make_piece(cell=make_cell("SP-0462"))
    give_fractions(result="iron 60(1)\nFe(OH)2 40(1)", sample=sample, by=people, source="elsewhere")
    work_off()
    rows = told(people, cell="sp-0462")
    assert [(row["phase"], row["pattern"], row["current"]) for row in rows] == [
        ("iron", None, True),
        ("iron-hydroxide", None, True),
    ]


def test_for_a_whole_sample_only_an_accepted_result_goes_before_its_patterns(people):
    sample = make_piece(cell=make_cell("SP-0463"))
    make_pattern(people, sample=sample, phases=["iron", "spinel", "iron-hydroxide"])
    give_fractions(result="iron 60(1)\nFe(OH)2 40(1)", sample=sample, by=people, source="elsewhere")
    work_off()
    assert standing(people) == {(False, True), (True, False)}
    theirs = Fit.objects.get(run__function="diffraction.external")
    review(fit=theirs, verdict="accept", by=people, reason="same powder, longer scan")
    assert standing(people) == {(False, False), (True, True)}


def test_what_is_rejected_is_not_told(people):
    give_fractions(result="iron 60(1)\nFe(OH)2 40(1)", sample=make_piece(), by=people, source="elsewhere")
    work_off()
    review(fit=Fit.objects.get(), verdict="reject", by=people, reason="another sample")
    assert told(people) == []


def test_a_guest_is_told_of_closed_cells_alone(people):
    sample = make_piece(cell=make_cell("SP-0464"))
    give_fractions(result="iron 60(1)\nFe(OH)2 40(1)", sample=sample, by=people, source="elsewhere")
    work_off()
    assert told(make_user("guest")) == []
