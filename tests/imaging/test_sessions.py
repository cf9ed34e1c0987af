"""A sitting: levels proposed, clicked and pinned; drift from the reference; samples pooled to electrodes."""

import json

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from teardown.dissection.actions import cut_sample, open_cell
from teardown.files.tasks import work_off
from teardown.imaging.actions import (
    add_micrograph,
    move_back,
    move_session,
    name_reference,
    name_session,
    pin_levels,
)
from teardown.imaging.dossier import session_of
from teardown.imaging.models import (
    ImagingSession,
    Levels,
    Micrograph,
    SampleMeasure,
    SectionResult,
    SessionMove,
)
from teardown.imaging.runs import standing
from teardown.records.models import Record
from tests.dissection.makers import ended
from tests.imaging.pictures import section_file
from tests.makers import NOW, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def session(operator):
    """A sitting of two measured fields."""
    made = ImagingSession.objects.create(name="Wednesday")
    for seed in (1, 2):
        add_micrograph(picture=section_file(seed, size=160), name=f"{seed}.png", by=operator, session=made)
    work_off()
    return made


def test_a_session_proposes_levels_and_pins_them(client, operator, session):
    """Medians over the fields are proposed; pinned ones measure the fields again."""
    client.force_login(operator)
    address = reverse("imaging_session", args=[session.pk])
    page = client.get(address).context["page"]
    assert page.proposed["pore"] < page.proposed["oxide"] < page.proposed["metal"]
    assert client.post(address, page.proposed).status_code == 302
    work_off()
    assert {row.levels["source"] for row in SectionResult.objects.order_by("pk")[2:]} == {"pinned"}
    assert b"pinned" in client.get(reverse("imaging_sessions")).content
    wrong = client.post(address, page.proposed | {"oxide": "0.05"})
    assert b"oxide between them" in wrong.content


def test_greys_are_read_off_the_picture_and_pinned_with_their_places(client, operator, session):
    """The median near a place is what the level search would see there; where it was clicked is kept."""
    from teardown.imaging.store import classes_within, window_round

    client.force_login(operator)
    one = session.micrographs.order_by("pk").first()
    result = one.results.get()
    labels = classes_within(result, window_round(one, 80, 80, 160))
    import cv2

    deepest = {}
    for name, code in (("pore", 0), ("metal", 2)):
        depth = cv2.distanceTransform((labels == code).astype("uint8"), cv2.DIST_L2, 5)
        row, column = divmod(int(depth.argmax()), depth.shape[1])
        found = client.get(reverse("micrograph_grey", args=[one.pk]), {"x": column, "y": row}).json()
        assert found["grey"] == pytest.approx(result.levels[name], abs=0.03)
        deepest[name] = [column, row, found["grey"]]
    evidence = json.dumps({"micrograph": one.pk, "places": deepest})
    greys = session_of(session, operator).proposed | {"evidence": evidence}
    assert client.post(reverse("imaging_session", args=[session.pk]), greys).status_code == 302
    levels = Levels.objects.get()
    assert levels.source == "clicked"
    assert levels.evidence["places"]["pore"] == deepest["pore"]
    bad = client.post(reverse("imaging_session", args=[session.pk]), greys | {"evidence": "[1"})
    assert b"Click them again" in bad.content
    assert client.get(reverse("micrograph_grey", args=[one.pk]), {"x": -4, "y": 1}).status_code == 422


def test_drift_is_told_from_the_reference_field(client, operator, session):
    """The reference itself has none; the figure shows every field."""
    client.force_login(operator)
    one, two = session.micrographs.order_by("pk")
    address = reverse("imaging_session_reference", args=[session.pk])
    assert client.post(address, {"micrograph": two.pk}).status_code == 302
    page = session_of(session, operator)
    assert page.reference == two
    fields = {field.micrograph.pk: field for field in page.fields}
    assert fields[two.pk].drift == pytest.approx(0, abs=1e-3)
    assert fields[two.pk].reference
    assert fields[one.pk].drift > 0
    assert len(page.drift.curves) == 3
    assert b"Drift" in client.get(reverse("imaging_session", args=[session.pk])).content
    stranger = add_micrograph(picture=section_file(7, size=128), name="7.png", by=operator, measure=False)
    with pytest.raises(ValidationError, match="not of this session"):
        name_reference(session=session, micrograph=stranger, by=operator)


@pytest.mark.long
def test_samples_are_pooled_to_their_electrode_by_a_run_of_its_own(client):
    """Two measured samples of one electrode: their mean, Student's t over samples, shown with its run."""
    lead = make_user("bench", "operator", "analyst", "lead", "reviewer", username="all")
    dissection = ended("SP-0413", lead).dissection
    open_cell(dissection=dissection, by=lead, at=NOW)
    first, second = (
        cut_sample(dissection=dissection, component="iron_electrode", place=place, by=lead, at=NOW)
        for place in ("M2", "T1")
    )
    assert first.part == second.part
    for seed, sample in ((1, first), (2, second)):
        one = add_micrograph(picture=section_file(seed, size=128), name=f"{seed}.png", by=lead, sample=sample)
    assert not SampleMeasure.objects.filter(part__isnull=False).exists()
    work_off()
    row = SampleMeasure.objects.filter(part=first.part, quantity="porosity").order_by("pk").last()
    parts = [
        SampleMeasure.objects.filter(sample=sample, quantity="porosity").order_by("pk").last().value
        for sample in (first, second)
    ]
    assert row.value == pytest.approx(sum(parts) / 2)
    assert row.n == 2
    assert row.run.function == "imaging.electrode"
    assert len(row.details["runs"]) == 2
    client.force_login(lead)
    page = client.get(reverse("micrograph", args=[one.pk])).content.decode()
    assert "The electrode, over 2 samples" in page
    assert reverse("run", args=[row.run_id]) in page


def test_a_field_that_drifted_says_so_on_its_own_page(client, operator, session):
    """Levels pinned brighter than this field shows them; within 3 % nothing is said."""
    one = session.micrographs.order_by("pk").first()
    levels = one.results.get().levels
    client.force_login(operator)
    address = reverse("micrograph", args=[one.pk])
    assert b"This field drifted" not in client.get(address).content
    near = {"pore": levels["pore"], "oxide": levels["oxides"][-1], "metal": levels["metal"]}
    pin_levels(session=session, by=operator, **near)
    assert b"This field drifted" not in client.get(address).content
    pin_levels(session=session, by=operator, **near | {"metal": levels["metal"] + 0.05})
    page = client.get(address)
    assert page.context["page"].drifted == pytest.approx(
        0.05 / (near["metal"] + 0.05 - near["pore"]), rel=1e-6
    )
    assert b"This field drifted" in page.content


def test_a_session_that_was_forgotten_is_named_later_and_once(client, operator, session):
    """On the picture's page or for a list; pinned levels count for it at once; nothing else changes."""
    pin_levels(session=session, pore=0.14, oxide=0.574, metal=0.76, by=operator)
    one, two = (
        add_micrograph(picture=section_file(seed, size=128), name=f"late {seed}.png", by=operator)
        for seed in (5, 6)
    )
    work_off()
    client.force_login(operator)
    client.post(reverse("micrograph_session", args=[one.pk]), {"session": "Wednesday"})
    client.post(reverse("micrographs_session") + "?standing=proposed", {"session": "Thursday"})
    work_off()
    one.refresh_from_db()
    two.refresh_from_db()
    assert one.session == session
    assert two.session.name == "Thursday"
    assert standing([one])[one.pk].levels["source"] == "pinned"
    with pytest.raises(ValidationError, match="of a session already"):
        name_session(micrographs=[one, two], name="Friday", by=operator)
    for change in ({"session": None}, {"session": session, "page": 3}, {"kind": "surface"}):
        with pytest.raises(IntegrityError, match="missing may be named"), transaction.atomic():
            Micrograph.objects.filter(pk=two.pk).update(**change)


@pytest.mark.long
def test_levels_pinned_back_to_earlier_ones_count_again(operator, session):
    """Pinned, pinned otherwise, pinned back: fields stand at the last; pinned twice alike is one question."""
    one = session.micrographs.order_by("pk").first()
    first = {"pore": 0.14, "oxide": 0.574, "metal": 0.76}
    for levels in (first, first | {"oxide": 0.5}, first):
        pin_levels(session=session, by=operator, **levels)
        work_off()
        assert standing([one])[one.pk].levels["oxides"] == [levels["oxide"]]
    measured = SectionResult.objects.count()
    pin_levels(session=session, by=operator, **first)
    work_off()
    assert SectionResult.objects.count() == measured


def test_a_session_that_was_named_wrongly_is_changed_with_a_reason_and_back(client, operator, session):
    """Results stay; the levels of the session joined count; moving back counts as another question."""
    pin_levels(session=session, pore=0.14, oxide=0.574, metal=0.76, by=operator)
    work_off()
    one = session.micrographs.order_by("pk").first()
    before = standing([one])[one.pk]
    client.force_login(operator)
    address = reverse("micrograph_session", args=[one.pk])
    refused = client.post(address, {"session": "Friday"}, follow=True)
    assert b"Say why the session changes" in refused.content
    moved = client.post(address, {"session": "Friday", "reason": "typed the wrong day"}, follow=True)
    assert b"from Wednesday to Friday: typed the wrong day" in moved.content
    work_off()
    assert standing([one])[one.pk].levels["source"] == "automatic"
    back = {"session": "Wednesday", "reason": "it was Wednesday after all"}
    client.post(reverse("micrographs_session"), back)
    work_off()
    after = standing([one])[one.pk]
    assert after.levels["source"] == "pinned"
    assert after.pk > before.pk
    assert SectionResult.objects.filter(pk=before.pk, levels=before.levels).exists()
    assert [(move.before.name, move.after.name) for move in one.session_moves.all()] == [
        ("Wednesday", "Friday"),
        ("Friday", "Wednesday"),
    ]
    assert Record.objects.filter(verb="moved pictures here").count() == 2
    with pytest.raises(ValidationError, match="of session Wednesday already"):
        move_session(micrographs=[one], name="Wednesday", reason="again", by=operator)


@pytest.mark.long
def test_a_picture_is_taken_out_of_its_session_and_named_again(client, operator, session):
    """Of no session no pinned levels count; named again, they do, though that was measured before."""
    pin_levels(session=session, pore=0.14, oxide=0.574, metal=0.76, by=operator)
    work_off()
    one = session.micrographs.order_by("pk").first()
    name_reference(session=session, micrograph=one, by=operator)
    client.force_login(operator)
    address = reverse("micrograph_session", args=[one.pk])
    page = client.post(address, {"none": "on", "session": "x", "reason": "another microscope"}, follow=True)
    assert b"It is of no session" in page.content
    assert session_of(session, operator).reference is None
    work_off()
    one.refresh_from_db()
    assert one.session is None
    assert standing([one])[one.pk].levels["source"] == "automatic"
    with pytest.raises(ValidationError, match="None of these pictures is of a session"):
        move_session(micrographs=[one], name="", reason="again", by=operator)
    client.post(address, {"session": "Wednesday"})
    work_off()
    assert standing([one])[one.pk].levels["source"] == "pinned"


@pytest.mark.long
def test_a_move_of_a_whole_list_is_taken_back_to_where_each_was(client, operator):
    """Pictures of two sessions and of none go into one, and back each to its own; earlier moves stay."""
    first, second = (ImagingSession.objects.create(name=name) for name in ("first", "second"))
    pictures = [
        add_micrograph(
            picture=section_file(seed, size=96), name=f"{seed}.png", by=operator, session=of, measure=False
        )
        for seed, of in ((1, first), (2, second), (3, None), (4, first))
    ]
    move_session(micrographs=pictures[3:], name="third", reason="long ago", by=operator)
    client.force_login(operator)
    address = reverse("micrographs_session")
    client.post(address, {"session": "third", "reason": "by mistake"})
    assert Micrograph.objects.filter(session__name="third").count() == 4
    assert b"by mistake" in client.get(reverse("micrographs")).content
    assert b"Say why the move is taken back" in client.post(address, {"back": "on"}, follow=True).content
    client.post(address, {"back": "on", "reason": "wrong list"})
    found = [one.session and one.session.name for one in Micrograph.objects.order_by("pk")]
    assert found == ["first", "second", None, "third"]
    assert Record.objects.get(verb="took a move back").payload["micrographs"].keys() == {
        str(one.pk) for one in pictures[:3]
    }
    stranger = add_micrograph(picture=section_file(5, size=96), name="5.png", by=operator, measure=False)
    with pytest.raises(ValidationError, match="None of these pictures was moved"):
        move_back(micrographs=[stranger], reason="nothing", by=operator)


def test_without_a_record_of_its_own_no_session_changes_and_nothing_else_ever(operator):
    """The database asks for the latest record to say this very change; page, kind and receipt stay."""
    first, second = (ImagingSession.objects.create(name=name) for name in ("first", "second"))
    one = add_micrograph(
        picture=section_file(5, size=128), name="5.png", by=operator, session=first, measure=False
    )
    move_session(micrographs=[one], name="second", reason="wrong", by=operator)
    move_session(micrographs=[one], name="first", reason="right", by=operator)
    SessionMove.objects.create(micrograph=one, before=first, after=second, reason="written", by=operator)
    changes = [{"session": None}, {"session": second, "page": 3}, {"session": second, "kind": "surface"}]
    for change in changes:
        with pytest.raises(IntegrityError, match="with a record of it"), transaction.atomic():
            Micrograph.objects.filter(pk=one.pk).update(**change)
    Micrograph.objects.filter(pk=one.pk).update(session=second)
    with pytest.raises(IntegrityError, match="with a record of it"), transaction.atomic():
        Micrograph.objects.filter(pk=one.pk).update(session=first)
    for bad in ({"reason": ""}, {"after": first, "reason": "nowhere"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            SessionMove.objects.create(**{"micrograph": one, "before": first, "by": operator} | bad)
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        SessionMove.objects.filter(micrograph=one).update(reason="another")
