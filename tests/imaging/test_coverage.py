"""Fields of a section with an artefact: measured, left out of coverage by default, counted by choice."""

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, choose_coverage
from teardown.imaging.models import SampleMeasure
from teardown.imaging.runs import ask_pooled
from teardown.records.models import Record
from teardown.review.dossier.measures import measures_of
from teardown.review.models import with_measure
from tests.dissection.makers import ended
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def analyst():
    return make_user("analyst")


def plane(mount, by, lubricant):
    return bench.polish(mount=mount, by=by, stages=[{"abrasive": "silica", "lubricant": lubricant}])


@pytest.fixture
def polished(analyst):
    """Give a sample whose mount was polished with water: a field of it is measured."""
    chemist = make_user("bench")
    dissection = ended("SP-0409", chemist).dissection
    sample = bench.cut_sample(dissection=dissection, component="iron_electrode", place="M2", by=chemist)
    mount = bench.mount_samples(samples=[(sample, "across")], by=chemist, code="M-0077")
    plane(mount, chemist, "water")
    first = add_micrograph(picture=section_file(1), name="1.png", by=analyst, sample=sample)
    work_off()
    return sample, mount, chemist, first


def pooled(sample, quantity="oxide_coverage"):
    """Give the numbers of the sample's latest pool."""
    latest = SampleMeasure.objects.filter(sample=sample).order_by("-run").first()
    return SampleMeasure.objects.filter(run=latest.run, quantity=quantity).first()


def of_cell(sample):
    cell = sample.part.dissection.cell
    filtered = with_measure(type(cell).objects.filter(pk=cell.pk), "oxide_coverage").get()
    return measures_of([cell.pk]).get(cell.pk, {}), filtered.measured_oxide_coverage


def test_its_porosity_counts_and_its_coverage_does_not(polished):
    sample, *_ = polished
    assert pooled(sample, "porosity").n == 1
    assert pooled(sample) is None
    shown, filtered = of_cell(sample)
    assert "porosity" in shown
    assert "oxide_coverage" not in shown
    assert filtered is None


def test_the_planes_of_a_sample_are_asked_for_once_however_many_its_fields(polished, analyst):
    sample, *_ = polished
    counts = []
    for seed in (2, 3):
        with CaptureQueriesContext(connection) as asked:
            ask_pooled(sample, by=analyst)
        counts.append(len(asked))
        add_micrograph(picture=section_file(seed), name=f"{seed}.png", by=analyst, sample=sample)
        work_off()
    assert counts[0] == counts[1]


def test_polished_again_only_the_new_plane_counts(polished, analyst):
    sample, mount, chemist, _ = polished
    plane(mount, chemist, "ethanol")
    add_micrograph(picture=section_file(2), name="2.png", by=analyst, sample=sample)
    work_off()
    # The first field was tied when the plane polished with water was the last one.
    assert (pooled(sample, "porosity").n, pooled(sample).n) == (2, 1)
    assert pooled(sample).details["marked"] == {
        "fields": 1, "artefacts": ["water used by mistake"], "counted": False,
    }  # fmt: skip
    shown, filtered = of_cell(sample)
    assert "1 field with an artefact (water used by mistake) left out" in shown["oxide_coverage"].of
    assert filtered == pooled(sample).value


@pytest.mark.long
def test_a_choice_counts_it_stays_for_later_fields_and_is_taken_back(polished, analyst):
    sample, *_ = polished
    with pytest.raises(ValidationError, match="Say why"):
        choose_coverage(sample=sample, count=True, reason=" ", by=analyst)
    run = choose_coverage(sample=sample, count=True, reason="the bloom lies beside it", by=analyst)
    work_off()
    assert run.settings["coverage"]["chosen"]["reason"] == "the bloom lies beside it"
    assert pooled(sample).details["marked"]["counted"] is True
    shown, filtered = of_cell(sample)
    assert "counted by choice" in shown["oxide_coverage"].of
    assert filtered == pooled(sample).value
    add_micrograph(picture=section_file(2), name="2.png", by=analyst, sample=sample)
    work_off()
    assert pooled(sample).n == 2
    choose_coverage(sample=sample, count=False, reason="it does not", by=analyst)
    work_off()
    assert pooled(sample) is None
    shown, filtered = of_cell(sample)
    assert "oxide_coverage" not in shown
    assert filtered is None
    verbs = list(
        Record.objects.filter(verb__endswith="coverage").order_by("seq").values_list("verb", flat=True)
    )
    assert verbs == ["counted in coverage", "left out of coverage"]
    assert SampleMeasure.objects.filter(run=run, quantity="oxide_coverage").exists()


@pytest.mark.long
def test_nothing_is_chosen_where_nothing_is_marked(analyst):
    sample = make_sample()
    add_micrograph(picture=section_file(1), name="1.png", by=analyst, sample=sample)
    work_off()
    with pytest.raises(ValidationError, match="No measured field"):
        choose_coverage(sample=sample, count=True, reason="so", by=analyst)
    assert "coverage" not in Run.objects.filter(function="imaging.sample").get().settings


@pytest.mark.long
def test_the_page_says_it_in_words_and_takes_the_choice(polished, client, analyst):
    *_, chemist, first = polished
    client.force_login(analyst)
    address = reverse("micrograph", args=[first.pk])
    page = client.get(address).content.decode()
    assert "M-0077, section 1: water used by mistake. It is measured, and left out of the coverage" in page
    choice = reverse("micrograph_coverage", args=[first.pk])
    assert client.post(choice, {"count": "yes", "reason": ""}).status_code == 422
    assert client.post(choice, {"count": "yes", "reason": "seen by eye"}).status_code == 302
    page = client.get(address).content.decode()
    assert "counted by choice" in page
    assert "seen by eye" in page
    client.force_login(chemist)
    assert client.post(choice, {"count": "no", "reason": "no"}).status_code == 403
    assert "Leave it out again" not in client.get(address).content.decode()
