"""What is logged stays, once, with its place, its time and its people."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction

from teardown.dissection import actions as bench
from teardown.dissection.models import CautionShown, Dissection, Entry, Part, Photograph
from teardown.dissection.models.closing import later_than_signed, open_points
from teardown.records.models import Record
from tests import makers
from tests.dissection.makers import PNG

pytestmark = pytest.mark.django_db
LATER = makers.NOW + dt.timedelta(minutes=6, seconds=24)


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist")


@pytest.fixture
def dissection(chemist):
    cell = makers.make_cell("SP-0413")
    makers.make_test(cell, end="capacity_limit")
    return bench.start_dissection(cell=cell, by=chemist, at=makers.NOW)


def log(dissection, by, term, at=LATER, **said):
    return bench.log_entry(dissection=dissection, term=term, by=by, at=at, **said)


def test_a_colour_keeps_its_place_its_age_and_who_saw_it(dissection, chemist):
    bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW)
    entry = log(dissection, chemist, "iron.colour", answer="green", place="A.M2", certainty="sure")
    assert (entry.place, entry.said, entry.observer) == ("A.M2", "green film", chemist)
    assert entry.minutes_since_opening == pytest.approx(6.4)
    assert entry.part.component.key == "component.iron_electrode"


def test_a_repeat_is_recognised_and_another_content_is_a_conflict(dissection, chemist):
    key = str(uuid.uuid4())
    item = {"key": key, "term": "mass.received_g", "value": "41,18"}
    first, again = (
        bench.log_entries(dissection=dissection, items=[item], by=chemist, at=LATER)[0] for _ in range(2)
    )
    other = bench.log_entries(dissection=dissection, items=[item | {"value": "41,19"}], by=chemist, at=LATER)[
        0
    ]
    assert (first.state, again.state, other.state) == ("kept", "kept already", "conflict")
    assert first.entry == again.entry
    assert Entry.objects.count() == 1


def test_one_bad_item_blocks_none(dissection, chemist):
    outcomes = bench.log_entries(
        dissection=dissection,
        by=chemist,
        at=LATER,
        items=[
            {"term": "mass.received_g", "value": "41.18"},
            {"term": "mass.received_g", "value": "-1"},
            {"term": "nothing.like_it"},
            {"term": "iron.colour", "answer": "pink", "place": "A.M2"},
            {"what": "else"},
            {"term": "electrical.rest_V", "value": "0.914"},
        ],
    )
    assert [outcome.state for outcome in outcomes] == ["kept", *["refused"] * 4, "kept"]
    assert "cannot be: it is at least 0 g" in outcomes[1].sentences[0]
    assert "metallic grey" in outcomes[3].sentences[0]
    assert Record.objects.filter(verb="logged").count() == 2


def test_an_unusual_number_is_asked_about_once_and_never_kept_out(dissection, chemist):
    with pytest.raises(ValidationError, match="unusual here"):
        log(dissection, chemist, "electrical.rest_V", value="1.60")
    entry = log(dissection, chemist, "electrical.rest_V", value="1.60", confirmed_unusual=True)
    assert entry.value == 1.60
    assert entry.value_text == "1.60"


def test_the_build_says_what_is_usual(dissection, chemist):
    with pytest.raises(ValidationError, match=r"37\.458 to 42\.4524 g"):
        log(dissection, chemist, "mass.received_g", value="36.9")


def test_the_same_everywhere_is_eighteen_explicit_entries(dissection, chemist):
    key = uuid.uuid4()
    said = {"term": "iron.texture", "answer": "hard_plate", "by": chemist, "at": LATER, "key": key}
    first = bench.all_the_same(dissection=dissection, **said)
    again = bench.all_the_same(dissection=dissection, **said)
    assert len(first) == 18
    assert {outcome.state for outcome in again} == {"kept already"}
    entries = Entry.objects.filter(term__key="iron.texture")
    assert entries.count() == entries.filter(uniform=True).count() == 18
    assert Part.objects.count() == 1


def test_an_amendment_leaves_the_first_to_be_seen(dissection, chemist):
    first = log(dissection, chemist, "iron.colour", answer="green", place="A.M2")
    seq = first.record.seq
    second = bench.amend(entry=first, by=chemist, reason="misread", answer="white", at=LATER)
    assert list(Entry.objects.current()) == [second]
    assert list(Entry.objects.as_known_at(seq)) == [first]
    assert (second.supersedes, second.place, second.observed_at) == (first, "A.M2", first.observed_at)
    with pytest.raises(DatabaseError), transaction.atomic():
        Entry.objects.filter(pk=first.pk).update(value_text="never seen")


def test_an_amendment_needs_a_reason(dissection, chemist):
    entry = log(dissection, chemist, "mass.received_g", value="41.18")
    with pytest.raises(ValidationError, match="no such reason"):
        bench.amend(entry=entry, by=chemist, reason="because", value="41.81", at=LATER)
    with pytest.raises(ValidationError, match="in words"):
        bench.amend(entry=entry, by=chemist, reason="other", value="41.81", at=LATER)


def test_what_is_withdrawn_counts_no_longer(dissection, chemist):
    entry = log(dissection, chemist, "mass.received_g", value="41.18")
    bench.withdraw(entry=entry, by=chemist, reason="duplicated", at=LATER)
    assert not Entry.objects.current().exists()
    assert Entry.objects.count() == 2


def test_entries_of_the_wrong_cell_are_moved_with_their_own_times(dissection, chemist):
    other = makers.make_cell("SP-0424")
    makers.make_test(other, end="leak")
    right = bench.start_dissection(cell=other, by=chemist, at=LATER)
    entry = log(dissection, chemist, "separator.state", answer="tear")
    (copy,) = bench.move(entries=[entry], to=right, by=chemist, at=LATER)
    assert not dissection.entries.current().exists()
    assert (copy.moved_from, copy.observed_at, copy.dissection) == (entry, entry.observed_at, right)
    assert copy.part.dissection == right


def test_a_scribe_writes_and_the_observer_confirms(dissection, chemist):
    scribe = makers.make_user("bench", username="hands")
    entry = log(dissection, scribe, "iron.colour", answer="ochre", place="B.T1", observer="chemist")
    assert (entry.observer, entry.scribe) == (chemist, scribe)
    assert dissection.entries.unconfirmed().count() == 1
    with pytest.raises(PermissionDenied, match="who alone can confirm"):
        bench.confirm(entries=[entry], by=scribe)
    bench.confirm(entries=[entry], by=chemist)
    assert not dissection.entries.unconfirmed().exists()


def test_the_cell_is_opened_once_and_the_time_can_be_amended(dissection, chemist):
    opening = bench.open_cell(dissection=dissection, by=chemist, minutes_ago=3, at=LATER)
    assert opening.observed_at == LATER - dt.timedelta(minutes=3)
    with pytest.raises(ValidationError, match="amend that time"):
        bench.open_cell(dissection=dissection, by=chemist, at=LATER)
    entry = log(dissection, chemist, "iron.shape", answer="flat")
    assert entry.minutes_since(dissection.opened()) == pytest.approx(3)
    bench.amend(
        entry=opening, by=chemist, reason="misread", at=LATER, observed_at=LATER - dt.timedelta(minutes=5)
    )
    assert entry.minutes_since(dissection.opened()) == pytest.approx(5)


def test_a_clock_set_back_does_not_move_the_minutes(dissection, chemist):
    bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW, device_ms=1_000, clock="boot-7")
    entry = log(
        dissection,
        chemist,
        "warm.noticed",
        at=LATER,
        answer="warm",
        observed_at=LATER - dt.timedelta(hours=1),
        device_ms=301_000,
        clock="boot-7",
    )
    assert entry.minutes_since_opening == pytest.approx(5)


def test_a_time_to_come_is_refused(dissection, chemist):
    with pytest.raises(ValidationError, match="has not come yet"):
        log(dissection, chemist, "iron.shape", answer="flat", observed_at=LATER + dt.timedelta(days=1))


def test_a_photograph_is_kept_first_and_labelled_later(dissection, chemist):
    key = uuid.uuid4()
    photograph = bench.add_photograph(
        file=PNG, name="1.png", key=key, dissection=dissection, by=chemist, at=LATER
    )
    assert (
        bench.add_photograph(file=PNG, name="1.png", key=key, dissection=dissection, by=chemist, at=LATER)
        == photograph
    )
    assert dissection.photographs.unlabelled().count() == 1
    bench.label_photograph(
        photograph=photograph, component="iron_electrode", place="A.M2", by=chemist, at=LATER
    )
    bench.label_photograph(photograph=photograph, not_evidence="accidental", by=chemist, at=LATER)
    assert photograph.label.words == "no evidence: accidental"
    assert not dissection.photographs.evidence().exists()
    assert Photograph.objects.count() == 1


def test_other_bytes_than_those_sent_are_refused(dissection, chemist):
    with pytest.raises(ValidationError, match="digest differs"):
        bench.add_photograph(file=PNG, digest_claimed="0" * 64, dissection=dissection, by=chemist, at=LATER)
    with pytest.raises(ValidationError, match="no JPEG"):
        bench.add_photograph(file=b"hello", name="x.jpg", dissection=dissection, by=chemist, at=LATER)
    assert not Photograph.objects.exists()


def test_a_sample_keeps_parent_place_and_minutes(dissection, chemist):
    bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW)
    piece = bench.cut_sample(
        dissection=dissection, component="iron_electrode", place="m2", by=chemist, at=LATER, mass_mg=61.2
    )
    powder = bench.cut_sample(parent=piece, by=chemist, at=LATER + dt.timedelta(minutes=10))
    assert (piece.place, piece.minutes_since_opening) == ("M2", pytest.approx(6.4))
    assert powder.minutes_since_opening == pytest.approx(16.4)
    assert powder.origin == piece.part
    with pytest.raises(ValidationError, match="misread"):
        bench.cut_sample(
            parent=piece,
            by=chemist,
            code=piece.code[:-1] + "2" if piece.code[-1] != "2" else "22222223",
            at=LATER,
        )


def test_a_disposed_sample_goes_nowhere(dissection, chemist):
    piece = bench.cut_sample(dissection=dissection, component="separator", by=chemist, at=LATER)
    bench.hand_over(sample=piece, to_place="desiccator 1", by=chemist, at=LATER)
    bench.hand_over(sample=piece, disposal=True, note="alkaline waste", by=chemist, at=LATER)
    with pytest.raises(ValidationError, match="disposed of"):
        bench.hand_over(sample=piece, to_place="desiccator 1", by=chemist, at=LATER)


def test_water_on_the_wheel_marks_the_section(dissection, chemist):
    piece = bench.cut_sample(
        dissection=dissection, component="iron_electrode", place="M2", by=chemist, at=LATER
    )
    mount = bench.mount_samples(samples=[(piece, "across, air face up")], by=chemist, resin="epoxy", at=LATER)
    dry = bench.polish(
        mount=mount, by=chemist, stages=[{"abrasive": "diamond", "lubricant": "ethanol"}], at=LATER
    )
    wet = bench.polish(
        mount=mount, by=chemist, stages=[{"abrasive": "silica", "lubricant": "water"}], at=LATER
    )
    assert (dry.artefacts, wet.artefacts) == ([], ["artefact.water"])
    assert (dry.number, wet.number) == (1, 2)


def test_what_was_sent_is_awaited_until_it_is_back(dissection, chemist):
    piece = bench.cut_sample(dissection=dissection, component="iron_electrode", by=chemist, at=LATER)
    (order,) = bench.send_orders(
        samples=[piece], technique="diffraction", by=chemist, sent_on=makers.NOW.date()
    )
    assert order.due_on == makers.NOW.date() + dt.timedelta(days=5)
    bench.receive_order(order=order, by=chemist, state="nothing usable", note="too little powder")
    assert order.state == "nothing usable"


def test_shown_and_read_are_noted_once_each(dissection, chemist):
    bench.show_cautions(dissection=dissection, step="titrate", by=chemist, at=LATER)
    bench.show_cautions(dissection=dissection, step="titrate", by=chemist, at=LATER)
    bench.show_cautions(
        dissection=dissection, step="titrate", by=chemist, cards=["hydrogen_sulfide"], read=True, at=LATER
    )
    read = CautionShown.objects.filter(read=True)
    assert [row.card.key for row in read] == ["hydrogen_sulfide"]
    shown = CautionShown.objects.filter(read=False).values_list("card__key", flat=True)
    assert len(shown) == len(set(shown)) > 3


def test_closing_waits_for_what_stands_open(dissection, chemist):
    bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW)
    photograph = bench.add_photograph(file=PNG, dissection=dissection, by=chemist, at=LATER)
    piece = bench.cut_sample(dissection=dissection, component="iron_electrode", by=chemist, at=LATER)
    with pytest.raises(ValidationError) as refused:
        bench.close(dissection=dissection, by=chemist, at=LATER)
    assert refused.value.messages == [
        "1 photograph without a component.",
        "1 sample with no place where it lies.",
    ]
    bench.label_photograph(photograph=photograph, not_evidence="accidental", by=chemist, at=LATER)
    bench.hand_over(sample=piece, to_place="desiccator 1", by=chemist, at=LATER)
    with pytest.raises(ValidationError, match="masses cannot be compared"):
        bench.close(dissection=dissection, by=chemist, at=LATER)
    signature = bench.close(dissection=dissection, by=chemist, answer="the balance was down", at=LATER)
    dissection.cell.refresh_from_db()
    assert dissection.cell.closed_at is not None
    assert (signature.person, signature.meaning) == (chemist, "closed")


def test_what_is_amended_after_the_signature_shows(dissection, chemist):
    entry = bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW)
    bench.close(dissection=dissection, by=chemist, answer="nothing weighed", at=LATER)
    assert later_than_signed(dissection) == 0
    bench.amend(
        entry=entry, by=chemist, reason="misread", at=LATER, observed_at=makers.NOW - dt.timedelta(minutes=1)
    )
    assert later_than_signed(dissection) == 1
    reviewer = makers.make_user("reviewer")
    assert bench.acknowledge(dissection=dissection, by=reviewer).meaning == "acknowledged"


def test_masses_that_add_up_are_not_asked_about(dissection, chemist):
    bench.open_cell(dissection=dissection, by=chemist, at=makers.NOW)
    masses = [
        ("mass.received_g", "41.18", ""),
        ("part.mass_g", "36.0", "case"),
        ("electrolyte.tare_g", "10", ""),
    ]
    for term, value, component in [*masses, ("electrolyte.gross_g", "15.1", "")]:
        log(dissection, chemist, term, value=value, component=component)
    assert open_points(dissection) == []
    bench.close(dissection=dissection, by=chemist, at=LATER)


def test_a_plan_closes_by_being_done_or_left_out(dissection, chemist):
    plan = bench.make_plan(
        cell=dissection.cell,
        by=chemist,
        items=[
            {"component": "iron_electrode", "technique": technique}
            for technique in ("section", "diffraction")
        ],
    )
    piece = bench.cut_sample(dissection=dissection, component="iron_electrode", by=chemist, at=LATER)
    bench.send_orders(samples=[piece], technique="section", by=chemist)
    assert "1 planned piece" in " ".join(point.sentence for point in open_points(dissection))
    bench.leave_out(item=plan.items.last(), by=chemist, reason="no_time")
    assert "planned" not in " ".join(point.sentence for point in open_points(dissection))
    with pytest.raises(ValidationError, match="at most 3 questions"):
        bench.make_plan(cell=makers.make_cell(), by=chemist, questions=list("abcd"))


def test_a_guest_logs_nothing(dissection):
    guest = makers.make_user("guest")
    with pytest.raises(PermissionDenied, match="may log observations"):
        log(dissection, guest, "iron.shape", answer="flat")


def test_a_running_test_is_not_opened(chemist):
    cell = makers.make_cell()
    makers.make_test(cell)
    with pytest.raises(ValidationError, match="still runs"):
        bench.start_dissection(cell=cell, by=chemist)
    assert not Dissection.objects.exists()


def test_the_chain_holds_after_all_this(dissection, chemist):
    entry = log(dissection, chemist, "mass.received_g", value="41.18")
    bench.amend(entry=entry, by=chemist, reason="typing_slip", value="41.81", at=LATER)
    assert list(Record.objects.all().broken()) == []
