"""Judgements: what is kept, what is refused and in which words, who sees whose, and what is decided."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from teardown.findings.actions import Assigned, decide, judge, look_at_judgements
from teardown.findings.models import Evidence, Judgement, ModeAssignment
from teardown.records.models import Record
from tests.findings.findings import Opened, make_entry, mode, passivated, rooted
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def opened():
    return Opened()


@pytest.fixture
def analyst():
    return make_user("analyst")


def test_a_judgement_keeps_modes_and_what_they_rest_on(opened, analyst):
    kept = judge(cell=opened.cell, assigned=passivated(opened), by=analyst, note="Seen often before.")
    assert kept.root.mode.words == "passivation by an oxide film"
    assert [evidence.thing for evidence in kept.root.evidence.all()] == [
        ("sample_measure", opened.image),
        ("phase", opened.phase),
    ]
    told = Record.objects.latest("seq")
    assert (told.verb, told.subject) == ("judged", f"cells.cell:{opened.cell.pk}")
    assert told.payload["modes"][0]["mode"] == "mode.passivation"


def test_each_deed_writes_one_record(opened, analyst):
    before = Record.objects.count()
    judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    assert Record.objects.count() == before + 1


def test_a_consequence_names_the_root(opened, analyst):
    follows = Assigned(mode("passivation"), "consequence", "possible", for_=[opened.image])
    root = Assigned(mode("additive_depletion"), "root", "possible", for_=[opened.entry])
    kept = judge(cell=opened.cell, assigned=[follows, root], by=analyst)
    rows = {row.role: row for row in kept.assignments.all()}
    assert rows["consequence"].consequence_of == rows["root"]


def test_a_later_judgement_takes_the_place_of_the_earlier_one(opened, analyst):
    first = judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    second = judge(cell=opened.cell, assigned=rooted("pore_closure", opened), by=analyst)
    assert second.supersedes == first
    assert list(Judgement.objects.standing()) == [second]
    assert (first.blind, second.blind) == (True, False)


def test_a_grade_beyond_the_evidence_is_refused_with_what_is_missing(opened, analyst):
    claimed = rooted("passivation", opened, confidence="confirmed")
    with pytest.raises(ValidationError) as refusal:
        judge(cell=opened.cell, assigned=claimed, by=analyst)
    assert refusal.value.messages == [
        "passivation by an oxide film: the evidence holds up “possible”. For “confirmed” it lacks"
        " two independent kinds of measurement that agree, or an intervention."
    ]
    assert not Judgement.objects.exists()


def test_a_lower_grade_than_the_evidence_holds_up_is_never_raised(opened, analyst):
    kept = judge(cell=opened.cell, assigned=passivated(opened, confidence="possible"), by=analyst)
    assert kept.root.confidence == "possible"


def test_what_speaks_against_must_be_answered(opened, analyst):
    claimed = Assigned(
        mode("passivation"), "root", "confirmed", for_=[opened.image, opened.phase], against=[opened.summary]
    )
    with pytest.raises(ValidationError, match="an answer to what speaks against it: cycling"):
        judge(cell=opened.cell, assigned=[claimed], by=analyst)


def test_a_weighing_is_a_measurement_and_a_look_is_not(opened, analyst):
    weighed = make_entry(opened.dissection, "dry.mass_g", value=1.56, unit="g", value_text="1.56")
    look = Assigned(mode("shedding"), "root", "confirmed", for_=[opened.entry, opened.image])
    with pytest.raises(ValidationError, match="besides image measure"):
        judge(cell=opened.cell, assigned=[look], by=analyst)
    measured = Assigned(mode("shedding"), "root", "confirmed", for_=[weighed, opened.image])
    assert judge(cell=opened.cell, assigned=[measured], by=analyst).root.confidence == "confirmed"


@pytest.mark.parametrize(
    ("claims", "sentence"),
    [
        ([], "Choose at least one mode"),
        ([("passivation", "root", "possible", False)], "rests on at least one piece of evidence"),
        (
            [("passivation", "root", "possible", True), ("short", "root", "possible", True)],
            "One root at most: passivation by an oxide film and internal short",
        ),
        (
            [("short", "root", "possible", True), ("short", "contributing", "possible", True)],
            "internal short was chosen twice",
        ),
        ([("short", "consequence", "possible", True)], "name the root"),
        ([("undetermined", "root", "possible", False)], "Choose undetermined"),
        ([("undetermined", "root", "undetermined", False)], "say whether evidence is missing"),
        ([("undetermined", "contributing", "undetermined", False)], "make it the root"),
        ([("other", "root", "possible", True)], "say in words what it is"),
    ],
)
def test_what_does_not_hold_is_refused_in_a_sentence(opened, analyst, claims, sentence):
    assigned = [
        Assigned(mode(name), role, confidence, for_=[opened.entry] if rests else [])
        for name, role, confidence, rests in claims
    ]
    with pytest.raises(ValidationError, match=sentence):
        judge(cell=opened.cell, assigned=assigned, by=analyst)


def test_undetermined_with_its_reason_and_no_fault_need_no_evidence(opened, analyst):
    und = Assigned(mode("undetermined"), "root", "undetermined", words="The section was lost.")
    assert judge(cell=opened.cell, assigned=[und], by=analyst).root.words == "The section was lost."
    healthy = Assigned(mode("no_fault"), "root", "probable")
    assert (
        judge(cell=opened.cell, assigned=[healthy], by=make_user("reviewer")).root.mode.words
        == "no fault found"
    )


def test_evidence_of_another_cell_is_refused(opened, analyst):
    other = Opened()
    with pytest.raises(ValidationError, match="2 of the things pointed at are not of this cell"):
        judge(cell=opened.cell, assigned=passivated(other), by=analyst)


def test_one_piece_cannot_speak_for_and_against(opened, analyst):
    both = Assigned(mode("short"), "root", "possible", for_=[opened.entry], against=[opened.entry])
    with pytest.raises(ValidationError, match="cannot speak for and against"):
        judge(cell=opened.cell, assigned=[both], by=analyst)


def test_the_database_itself_refuses_two_roots(opened, analyst):
    kept = judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    with pytest.raises(IntegrityError), transaction.atomic():
        ModeAssignment.objects.create(judgement=kept, mode=mode("short"), role="root", confidence="possible")
    with pytest.raises(IntegrityError), transaction.atomic():
        Evidence.objects.create(assignment=kept.root, side="for", entry=opened.entry, phase=opened.phase)


def test_only_those_who_may_judge(opened):
    bench = make_user("bench")
    with pytest.raises(PermissionDenied, match="Only analysts, reviewers and lab leads may judge"):
        judge(cell=opened.cell, assigned=passivated(opened), by=bench)
    proposed = judge(cell=opened.cell, assigned=passivated(opened), by=bench, proposal=True)
    assert not proposed.blind
    assert not Judgement.objects.standing().exists()
    with pytest.raises(PermissionDenied):
        judge(cell=opened.cell, assigned=passivated(opened), by=make_user("guest"), proposal=True)


def test_a_judge_sees_no_other_judgement_before_giving_one(opened, analyst):
    reviewer = make_user("reviewer")
    judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    assert not Judgement.objects.visible_to(reviewer).exists()
    assert Judgement.objects.visible_to(make_user("operator")).count() == 1
    second = judge(cell=opened.cell, assigned=rooted("pore_closure", opened), by=reviewer)
    assert second.blind
    assert Judgement.objects.visible_to(reviewer).count() == 2


def test_who_looked_first_is_not_blind(opened, analyst):
    reviewer = make_user("reviewer")
    judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    look_at_judgements(cell=opened.cell, by=reviewer)
    look_at_judgements(cell=opened.cell, by=reviewer)
    assert Record.objects.filter(verb="looked at the judgements of").count() == 1
    assert Judgement.objects.visible_to(reviewer).count() == 1
    assert not judge(cell=opened.cell, assigned=passivated(opened), by=reviewer).blind


def test_a_decision_says_which_judgement_holds_and_why(opened, analyst):
    one = judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    two = judge(cell=opened.cell, assigned=rooted("pore_closure", opened), by=make_user("reviewer"))
    decision = decide(cell=opened.cell, outcome=one, reason="Two kinds agree.", by=make_user("lead"))
    assert set(decision.judgements.all()) == {one, two}
    assert Judgement.objects.visible_to(make_user("analyst")).count() == 2


def test_a_decision_needs_a_reason_and_a_standing_judgement(opened, analyst):
    lead = make_user("lead")
    first = judge(cell=opened.cell, assigned=passivated(opened), by=analyst)
    with pytest.raises(ValidationError, match="Say why"):
        decide(cell=opened.cell, outcome=first, reason=" ", by=lead)
    judge(cell=opened.cell, assigned=rooted("short", opened), by=analyst)
    with pytest.raises(ValidationError, match="that stand"):
        decide(cell=opened.cell, outcome=first, reason="I like it.", by=lead)
    with pytest.raises(PermissionDenied):
        decide(cell=opened.cell, outcome=first, reason="Mine.", by=analyst)
