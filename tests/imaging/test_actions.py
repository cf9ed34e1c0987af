"""Micrographs are kept, measured, scaled, outlined and judged by deeds that leave their trace."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import (
    Offered,
    add_micrograph,
    add_micrographs,
    claim_scale,
    draw_region,
    measure_again,
    pin_levels,
    review,
)
from teardown.imaging.models import FieldMeasure, ImagingSession, Micrograph, SampleMeasure, SectionResult
from teardown.imaging.runs import ask_section, standing
from teardown.records.models import Record
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may add and judge micrographs."""
    return make_user("operator")


def test_a_field_is_measured_and_its_sample_pooled(operator):
    """From the file to the sample: kept bytes, a run, numbers with intervals, the pool over fields."""
    sample = make_sample()
    for seed in (1, 2):
        add_micrograph(
            picture=section_file(seed), name=f"{seed}.png", by=operator, sample=sample, pixel_size_um=0.1
        )
    work_off()
    assert set(Run.objects.values_list("state", flat=True)) == {"done"}
    field = FieldMeasure.objects.filter(quantity="porosity").first()
    assert field.low <= field.value <= field.high
    assert field.n == 1
    pooled = SampleMeasure.objects.filter(quantity="oxide_coverage").order_by("pk").last()
    assert pooled.n == 2
    assert pooled.sample == sample
    assert FieldMeasure.objects.filter(quantity="oxide_thickness_um").exists()
    result = SectionResult.objects.first()
    assert result.class_map.kind == "image/png"
    assert result.levels["source"] in ("automatic", "prior")
    assert {flag["code"] for flag in result.flags} >= {"outline_unconfirmed"}


def test_bad_pictures_are_refused_and_good_ones_kept(operator):
    """One bad file in a drop hinders none, and leaves nothing behind."""
    added = add_micrographs(
        offered=[Offered(b"no picture", "bad.tif"), Offered(section_file(1), "good.png")], by=operator
    )
    assert [one.name for one in added.refused] == ["bad.tif"]
    assert len(added.micrographs) == 1
    assert Micrograph.objects.count() == 1


def test_the_same_bytes_are_recognised(operator):
    """A picture brought twice is one micrograph."""
    first = add_micrograph(picture=section_file(1), name="a.png", by=operator)
    again = add_micrographs(offered=[Offered(section_file(1), "copy of a.png")], by=operator)
    assert again.known == [first]
    assert Micrograph.objects.count() == 1


def test_a_scale_given_later_multiplies_lengths_and_reads_no_pixels(operator):
    """Thickness follows from the kept sums; porosity stays to the last digit."""
    micrograph = add_micrograph(picture=section_file(1), name="a.png", by=operator)
    work_off()
    before = {row.quantity: row for row in FieldMeasure.objects.all()}
    assert "oxide_thickness_px" in before
    claim_scale(micrograph=micrograph, pixel_size_um=0.2, by=operator)
    work_off()
    result = standing([micrograph])[micrograph.pk]
    assert result.run.function == "imaging.rescale"
    after = {row.quantity: row for row in FieldMeasure.objects.filter(run=result.run)}
    assert after["oxide_thickness_um"].value == pytest.approx(0.2 * before["oxide_thickness_px"].value)
    assert after["porosity"].value == before["porosity"].value
    assert "unscaled" not in {flag["code"] for flag in result.flags}


def test_an_outline_is_a_version_and_asks_for_a_new_measurement(operator):
    """What lies outside no longer counts; the first result stays in the books."""
    micrograph = add_micrograph(picture=section_file(1), name="a.png", by=operator)
    work_off()
    draw_region(
        micrograph=micrograph, kind="outline", points=[[0, 0], [180, 0], [180, 256], [0, 256]], by=operator
    )
    work_off()
    assert SectionResult.objects.count() == 2
    latest = standing([micrograph])[micrograph.pk]
    assert latest.sums["area_px"] < 256 * 256 * 0.75
    assert "outline_unconfirmed" not in {flag["code"] for flag in latest.flags}
    with pytest.raises(ValidationError, match="at least 3 corners"):
        draw_region(micrograph=micrograph, kind="exclusion", points=[[1, 1], [2, 2]], by=operator)
    with pytest.raises(ValidationError, match="outside the picture"):
        draw_region(micrograph=micrograph, kind="exclusion", points=[[1, 1], [2, 2], [900, 1]], by=operator)


def test_a_rejected_field_leaves_the_pool(operator):
    """Rejecting says why, and the sample is pooled from what stands."""
    sample = make_sample()
    for seed in (1, 2):
        add_micrograph(picture=section_file(seed), name=f"{seed}.png", by=operator, sample=sample)
    work_off()
    result = SectionResult.objects.order_by("pk").first()
    with pytest.raises(ValidationError, match="Say why"):
        review(result=result, verdict="reject", by=operator)
    review(result=result, verdict="reject", reason="charging at the left", by=operator)
    work_off()
    assert result.micrograph_id not in standing([result.micrograph])
    assert SampleMeasure.objects.order_by("pk").last().n == 1
    assert Record.objects.filter(verb="rejected", reason="charging at the left").exists()


def test_pinned_levels_are_used_for_all_fields_of_a_session(operator):
    """Levels confirmed once hold for the sitting."""
    session = ImagingSession.objects.create(name="Tuesday")
    micrograph = add_micrograph(picture=section_file(1), name="a.png", by=operator, session=session)
    work_off()
    pin_levels(session=session, pore=0.14, oxide=0.574, metal=0.76, by=operator)
    work_off()
    latest = standing([micrograph])[micrograph.pk]
    assert latest.levels["source"] == "pinned"
    assert latest.levels["oxides"] == [0.574]


def test_asking_twice_is_one_run(operator):
    """The same question of the same picture is answered once."""
    micrograph = add_micrograph(picture=section_file(1), name="a.png", by=operator)
    (run,) = measure_again(micrographs=[micrograph], by=operator)
    assert Run.objects.count() == 1
    assert run.subject == f"imaging.micrograph:{micrograph.pk}"


def test_those_who_may_not_are_told_who_may():
    """A reviewer reads micrographs and does not add them."""
    with pytest.raises(PermissionDenied, match="may add micrographs"):
        add_micrographs(offered=[Offered(section_file(1), "a.png")], by=make_user("reviewer"))


def test_faces_on_two_fields_give_the_sample_its_layers(client, operator):
    """From drawn faces to the figure with its band: over fields, and only over those with a face."""
    sample = make_sample()
    fields = [
        add_micrograph(picture=section_file(seed, size=128), name=f"{seed}.png", by=operator, sample=sample)
        for seed in (1, 2)
    ]
    for one in fields:
        draw_region(micrograph=one, kind="face", points=[[0, 0], [128, 0]], by=operator)
    work_off()
    layers = SampleMeasure.objects.filter(quantity="porosity").latest("pk").details["layers"]
    assert len(layers) == 10
    assert {layer["porosity"]["n"] for layer in layers} == {2}
    assert all(
        one["porosity"]["low"] <= one["porosity"]["value"] <= one["porosity"]["high"] for one in layers
    )
    told = [one["coverage"] for one in layers if one["coverage"]]
    assert told
    assert {one["n"] for one in told} == {2}
    client.force_login(operator)
    address = reverse("micrograph", args=[fields[0].pk])
    page = client.get(address)
    assert b"From face to core, over 2 fields" in page.content
    assert page.content.count(b"steps of metal outline") == 2
    assert b"oxide coverage</text>" in page.content or b"oxide coverage</tspan>" in page.content


def test_a_mosaic_waits_behind_smaller_pictures(operator, settings, django_capture_on_commit_callbacks):
    """What takes minutes leaves the queue to what takes seconds, however late that was asked for."""
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": []}}
    mosaic, small = (
        add_micrograph(picture=section_file(seed), name=f"{seed}.png", by=operator) for seed in (1, 2)
    )
    Run.objects.all().update(state="failed", error="not measured here")
    mosaic.width_px, mosaic.height_px = 20_000, 20_000
    with django_capture_on_commit_callbacks(execute=True):
        asked = [ask_section(one, by=operator) for one in (mosaic, small)]
    bells = DBTaskResult.objects.filter(status="READY")
    assert [bell.args_kwargs["args"] for bell in bells] == [[run.pk] for run in reversed(asked)]
