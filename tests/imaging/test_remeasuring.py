"""What is measured again is held beside what stands, laid out, and taken up by a person."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, keep_earlier, remeasure, review, take_up
from teardown.imaging.dossier import remeasuring_of, versions_of
from teardown.imaging.models import FieldMeasure, HeldMeasure, RemeasuredField, Remeasuring, SampleMeasure
from teardown.imaging.runs import standing
from teardown.records.models import Record
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def field(operator):
    """A measured field of a sample."""
    made = add_micrograph(
        picture=section_file(1, size=128), name="1.png", by=operator, sample=make_sample(by=operator)
    )
    work_off()
    return made


def test_nothing_that_stands_is_replaced_in_silence(operator, field):
    """The new run stands beside the old one: no number of the books, no pool, before someone takes it up."""
    before = standing([field])[field.pk].run_id
    pools = SampleMeasure.objects.count()
    made = remeasure(micrographs=[field], reason="the method changed", by=operator)
    work_off()
    after = made.fields.get().after_id
    assert standing([field])[field.pk].run_id == before
    assert not FieldMeasure.objects.filter(run=after).exists()
    assert HeldMeasure.objects.filter(run=after, quantity="porosity").exists()
    assert SampleMeasure.objects.count() == pools


def test_taking_up_enters_the_numbers_and_pools_the_sample_again(operator, field):
    """The same numbers as were held; the sample rests on the new run."""
    made = remeasure(micrographs=[field], reason="the method changed", by=operator)
    work_off()
    assert take_up(fields=list(made.fields.all()), by=operator) == 1
    work_off()
    after = made.fields.get().after_id
    assert standing([field])[field.pk].run_id == after
    held = set(HeldMeasure.objects.filter(run=after).values_list("quantity", "value", "low", "high"))
    assert set(FieldMeasure.objects.filter(run=after).values_list("quantity", "value", "low", "high")) == held
    assert SampleMeasure.objects.order_by("pk").last().details["runs"] == [after]
    assert take_up(fields=list(made.fields.all()), by=operator) == 0
    assert Record.objects.filter(verb="took up new numbers").count() == 1


def test_keeping_the_earlier_says_why_and_changes_nothing(operator, field):
    """The new run is rejected with its reason; what stood stands."""
    before = standing([field])[field.pk].run_id
    made = remeasure(micrographs=[field], reason="the method changed", by=operator)
    work_off()
    with pytest.raises(ValidationError, match="Say why"):
        keep_earlier(fields=list(made.fields.all()), reason=" ", by=operator)
    assert keep_earlier(fields=list(made.fields.all()), reason="published already", by=operator) == 1
    assert standing([field])[field.pk].run_id == before


def test_an_accepted_result_keeps_standing_until_the_new_one_is_accepted_too(operator, field):
    """A review of the held run from its own page takes it up as well."""
    first = standing([field])[field.pk]
    review(result=first, verdict="accept", by=operator)
    made = remeasure(micrographs=[field], reason="look again", by=operator)
    work_off()
    held = field.results.get(run=made.fields.get().after_id)
    review(result=held, verdict="accept", by=operator)
    assert standing([field])[field.pk].run_id == held.run_id
    assert FieldMeasure.objects.filter(run=held.run_id).exists()


def test_the_same_pixels_by_the_same_method_show_no_difference(operator, field):
    """Old and new side by side; every number is inside its interval, and equal."""
    made = remeasure(micrographs=[field], reason="look again", by=operator)
    page = remeasuring_of(made, operator)
    assert page.running
    assert page.progress == 0
    work_off()
    page = remeasuring_of(made, operator)
    assert (page.done, page.open, page.beyond) == (1, 1, 0)
    assert {one.words for one in page.rows[0].rows} >= {"porosity", "oxide coverage"}
    assert all(one.difference == 0 for one in page.rows[0].rows)
    shift = next(one for one in page.shifts if one.words == "porosity")
    assert (shift.n, shift.mean, shift.largest, shift.beyond) == (1, "0.00 points", "0.00 points", 0)
    assert versions_of([field]).earlier == ()


def test_measuring_again_says_why_and_by_whom(operator, field):
    """No reason, no field, no right: each refused in words."""
    with pytest.raises(ValidationError, match="Say why"):
        remeasure(micrographs=[field], reason="  ", by=operator)
    with pytest.raises(ValidationError, match="nothing to measure"):
        remeasure(micrographs=[], reason="all", by=operator)
    with pytest.raises(PermissionDenied):
        remeasure(micrographs=[field], reason="all", by=make_user("guest"))
    assert not Remeasuring.objects.exists()


def test_the_page_leads_from_the_list_to_the_decision(client, operator, field, django_assert_max_num_queries):
    """Asked with the question of the list, shown with progress, decided one by one or all at once."""
    client.force_login(operator)
    address = reverse("micrographs_again") + "?sample=1234567A"
    assert b"1 cross section measured again" in client.get(address).content
    assert client.post(address, {"which": "all", "reason": ""}).status_code == 422
    assert b"earlier version" in client.post(address, {"which": "earlier", "reason": "x"}).content
    page = client.post(address, {"which": "all", "reason": "the method changed"})["Location"]
    assert b"0 of 1 field done" in client.get(page).content
    work_off()
    with django_assert_max_num_queries(20):
        shown = client.get(page)
    assert b"Take up all 1" in shown.content
    assert b"1 not decided yet" in client.get(page, headers={"HX-Request": "true"}).content
    judge = reverse("micrographs_remeasured_judge", args=[Remeasuring.objects.get().pk])
    assert b"Say why" in client.post(judge, {"verdict": "reject", "reason": ""}, follow=True).content
    field_of = RemeasuredField.objects.get().pk
    done = client.post(judge, {"verdict": "accept", "field": field_of}, follow=True)
    assert b"taken up" in done.content
    client.force_login(make_user("guest"))
    assert client.get(page).status_code == 403
