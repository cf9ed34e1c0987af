"""What a person must say of a picture is asked: its scale, its strip, its pages; and nothing said is lost."""

import io

import numpy as np
import pytest
import tifffile
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from scipy.ndimage import gaussian_filter

from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import (
    Offered,
    add_micrograph,
    add_micrographs,
    bring_pages,
    choose_claim,
    claim_scale,
    draw_region,
)
from teardown.imaging.dossier import page_of
from teardown.imaging.models import FieldMeasure, Micrograph, ScaleClaim, SectionResult
from teardown.imaging.runs import regions_of, standing
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


def as_array(seed, size=128, strip=0):
    """The pixels of a phantom section."""
    return np.asarray(Image.open(io.BytesIO(section_file(seed, size=size, strip=strip))))


def as_tiff(pixels, **known):
    """A TIFF file of pixels."""
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, photometric="minisblack", **known)
    return out.getvalue()


def lifted_file():
    """A PNG of grains whose films of oxide stand three pixels off the metal, blurred and noisy."""
    y, x = np.mgrid[:160, :160]
    away = np.hypot(y % 40 - 20, x % 40 - 20)
    grey = np.where(away <= 8, 0.76, np.where((away > 11) & (away <= 17), 0.5, 0.14))
    noise = np.random.default_rng(5).normal(0, 0.01, grey.shape)
    out = io.BytesIO()
    Image.fromarray(np.uint8(np.clip(gaussian_filter(grey, 0.7) + noise, 0, 1) * 255)).save(out, "PNG")
    return out.getvalue()


def test_the_text_beside_a_picture_scales_what_is_measured(operator):
    """Without any other hint, lengths are in micrometres from the first run on."""
    offered = [Offered(section_file(1, size=128), "a.png", sidecar="PixelSize = 50 nm")]
    (one,) = add_micrographs(offered=offered, by=operator).micrographs
    work_off()
    result = standing([one])[one.pk]
    assert result.sums["pixel_size_um"] == pytest.approx(0.05)
    assert "unscaled" not in {flag["code"] for flag in result.flags}


@pytest.mark.long
def test_hints_that_disagree_are_asked_and_one_word_settles_it(client, operator):
    """The file says 0.05, the text beside it 0.1: both are laid before a person, who chooses."""
    size = {"PhysicalSizeX": 0.05, "PhysicalSizeY": 0.05, "axes": "YX"}
    data = as_tiff(
        as_array(1), metadata=size | {"PhysicalSizeXUnit": "µm", "PhysicalSizeYUnit": "µm"}, ome=True
    )
    offered = [Offered(data, "a.ome.tif", sidecar="PixelSize = 100 nm")]
    (one,) = add_micrographs(offered=offered, by=operator).micrographs
    work_off()
    first = standing([one])[one.pk]
    assert "scale_conflict" in {flag["code"] for flag in first.flags}
    assert {claim.source for claim in page_of(one, operator).rivals} == {"ome", "sidecar"}
    client.force_login(operator)
    address = reverse("micrograph", args=[one.pk])
    assert b"How large is a pixel" in client.get(address).content
    chosen = ScaleClaim.objects.get(source="sidecar")
    client.post(reverse("micrograph_scale", args=[one.pk]), {"claim": chosen.pk})
    work_off()
    result = standing([one])[one.pk]
    assert result.sums["pixel_size_um"] == pytest.approx(0.1)
    assert "scale_conflict" not in {flag["code"] for flag in result.flags}
    assert page_of(one, operator).rivals == ()
    assert (
        client.post(reverse("micrograph_scale", args=[one.pk]), {"claim": chosen.pk + 999}).status_code == 404
    )


def test_a_scale_given_later_counts_at_once_without_any_worker(
    client, operator, django_capture_on_commit_callbacks
):
    """The next page shows micrometres; no picture was looked at, layers got their depth."""
    one = add_micrograph(picture=section_file(1, size=128), name="a.png", by=operator)
    draw_region(micrograph=one, kind="face", points=[[0, 0], [128, 0]], by=operator)
    work_off()
    before = standing([one])[one.pk]
    measured = Run.objects.filter(function="imaging.section").count()
    client.force_login(operator)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("micrograph_scale", args=[one.pk]), {"bar_um": "10", "bar_px": "50"})
    after = standing([one])[one.pk]
    assert after.run.state == "done"
    assert FieldMeasure.objects.filter(run=after.run, quantity="oxide_thickness_um").exists()
    assert Run.objects.filter(function="imaging.section").count() == measured
    assert before.sums["profile"][0]["depth_um"] is None
    deep = after.sums["profile"][-1]
    assert deep["depth_um"] == pytest.approx(0.2 * deep["depth_px"])
    assert "µm" in client.get(reverse("micrograph", args=[one.pk])).content.decode()


def test_a_later_scale_tells_the_coverage_across_gaps_as_if_it_had_been_known(operator):
    """The same pixels, measured with the scale and before it: the same shares and the same flag."""
    known = add_micrograph(picture=lifted_file(), name="a.png", by=operator, pixel_size_um=0.1)
    later = add_micrograph(picture=lifted_file() + b"\0", name="b.png", by=operator)
    work_off()
    before = standing([later])[later.pk]
    assert before.sums["near_coverage"] == {}
    claim_scale(micrograph=later, pixel_size_um=0.1, by=operator)
    work_off()
    one, other = (standing([field])[field.pk] for field in (known, later))
    assert other.run.function == "imaging.rescale"
    assert [gap for gap, _ in page_of(later, operator).near] == ["0.2", "0.5", "1"]
    assert other.sums["near_coverage"] == one.sums["near_coverage"]
    flags = [[flag for flag in row.flags if flag["code"] == "lifted_oxide"] for row in (one, other)]
    assert flags[0] == flags[1] != []
    claim_scale(micrograph=later, pixel_size_um=5.0, by=operator)
    work_off()
    assert "lifted_oxide" not in {flag["code"] for flag in standing([later])[later.pk].flags}


@pytest.mark.long
def test_a_scale_with_other_proportions_is_another_look(operator):
    """Pixels twice as high as wide were squared before; said to be square, they are measured anew."""
    size = {"PhysicalSizeX": 0.05, "PhysicalSizeY": 0.1, "axes": "YX"}
    data = as_tiff(as_array(1)[::2].copy(), metadata=size, ome=True)
    one = add_micrograph(picture=data, name="a.ome.tif", by=operator)
    work_off()
    first = standing([one])[one.pk]
    claim_scale(micrograph=one, pixel_size_um=0.05, by=operator)
    work_off()
    result = standing([one])[one.pk]
    assert result.run.function == "imaging.section"
    assert result.sums["area_px"] == first.sums["area_px"] / 2
    choose_claim(chosen=ScaleClaim.objects.get(source="ome"), by=operator)
    work_off()
    assert standing([one])[one.pk].sums["area_px"] == first.sums["area_px"]


@pytest.mark.long
def test_a_strip_is_confirmed_or_denied_by_one_word(client, operator):
    """Confirmed it is no question any more; denied, its rows count."""
    one = add_micrograph(picture=section_file(1, size=128, strip=24), name="a.png", by=operator)
    work_off()
    page = page_of(one, operator)
    top, bottom = page.strip_asked
    assert (top, bottom) == (128, 152)
    client.force_login(operator)
    address = reverse("micrograph_region", args=[one.pk])
    points = f"[[0,{top}],[128,{bottom}]]"
    assert points.encode() in client.get(reverse("micrograph", args=[one.pk])).content
    client.post(address, {"kind": "strip", "points": points})
    work_off()
    assert page_of(one, operator).strip_asked is None
    assert standing([one])[one.pk].sums["strip"] == [128, 152]
    assert page_of(one, operator).regions[0].words == "information strip, rows 128 to 151"
    bare = add_micrograph(picture=section_file(1, size=128), name="b.png", by=operator)
    draw_region(micrograph=bare, kind="strip", points=[[0, 100], [128, 128]], by=operator)
    work_off()
    assert standing([bare])[bare.pk].sums["area_px"] == 128 * 100
    draw_region(micrograph=bare, kind="strip", points=[[0, 0], [128, 0]], by=operator)
    work_off()
    assert standing([bare])[bare.pk].sums["area_px"] == 128 * 128
    assert page_of(bare, operator).regions[0].words == "no information strip"


def test_a_second_scratch_does_not_replace_the_first(client, operator):
    """Exclusions without a name are numbered; earlier versions can be brought back; one run measures all."""
    one = add_micrograph(picture=section_file(1, size=128), name="a.png", by=operator)
    work_off()
    client.force_login(operator)
    address = reverse("micrograph_region", args=[one.pk])
    for corner in (10, 60):
        points = f"[[{corner},{corner}],[{corner + 30},{corner}],[{corner},{corner + 30}]]"
        client.post(address, {"kind": "exclusion", "points": points, "later": "on"})
    for name in ("scratch", "scratch"):
        given = {"kind": "exclusion", "name": name, "points": "[[90,90],[99,90],[90,99]]", "fresh": "on"}
        client.post(address, given | {"later": "on"})
    assert [region.name for region in regions_of(one)] == ["1", "2", "scratch", "scratch 2"]
    assert not Run.objects.filter(state="queued").exists()
    assert page_of(one, operator).outdated == "what was drawn changed"
    client.post(reverse("micrograph_again", args=[one.pk]))
    work_off()
    assert page_of(one, operator).outdated == ""
    assert standing([one])[one.pk].sums["area_px"] < 128 * 128 - 2 * 400
    moved = "[[5,5],[30,5],[5,30]]"
    client.post(address, {"kind": "exclusion", "name": "1", "points": moved, "later": "on"})
    (earlier,) = page_of(one, operator).earlier_regions
    assert earlier.points[0] == [10.0, 10.0]
    client.post(address, {"kind": "exclusion", "name": "1", "points": earlier.as_points, "later": "on"})
    assert regions_of(one)[0].points == earlier.points
    assert regions_of(one)[0].version == 3


@pytest.mark.long
def test_the_pages_of_a_file_are_pictures_of_their_own(client, operator):
    """The first is brought; the others are told of, and come by one word, with sample and scale."""
    data = as_tiff(np.stack([as_array(seed) for seed in (1, 2, 3)]))
    sample = make_sample(by=operator)
    one = add_micrograph(picture=data, name="three.tif", by=operator, sample=sample, pixel_size_um=0.1)
    client.force_login(operator)
    assert b"The file holds 3 pages" in client.get(reverse("micrograph", args=[one.pk])).content
    client.post(reverse("micrograph_pages", args=[one.pk]))
    assert [str(m) for m in Micrograph.objects.order_by("pk")] == [
        "three.tif",
        "three.tif, page 2",
        "three.tif, page 3",
    ]
    work_off()
    measured = [
        FieldMeasure.objects.filter(micrograph=m, quantity="porosity").latest("pk").value
        for m in Micrograph.objects.all()
    ]
    assert len(set(measured)) == 3
    assert all(result.sums["pixel_size_um"] == pytest.approx(0.1) for result in SectionResult.objects.all())
    assert not page_of(one, operator).further_pages.missing
    with pytest.raises(ValidationError, match="no further page"):
        bring_pages(micrograph=one, by=operator)


def test_an_empty_file_in_a_drop_is_named_and_hinders_no_other(client, operator):
    """The others are planned; the empty one is told by its name."""
    client.force_login(operator)
    files = [SimpleUploadedFile("empty.tif", b""), SimpleUploadedFile("good.png", section_file(1, size=128))]
    answer = client.post(reverse("add_micrographs"), {"pictures": files, "sample": ""}, follow=True)
    assert b"The file is empty" in answer.content
    assert [row["name"] for row in answer.context["rows"]] == ["good.png"]


def test_a_mosaic_is_drawn_by_the_worker_and_nobody_waits_for_it(client, operator, monkeypatch):
    """Until then its page says so and asks again; tiles are not made twice."""
    one = add_micrograph(picture=section_file(31, size=144), name="m.png", by=operator)
    client.force_login(operator)
    address = reverse("micrograph", args=[one.pk])
    tile = reverse("micrograph_tile", args=[one.pk, 0, 0, 0])
    with monkeypatch.context() as patch:
        patch.setattr("teardown.imaging.store.pictures.LARGEST_WHOLE_PX", 1000)
        assert b"being made ready for the screen" in client.get(address).content
        assert client.get(tile).status_code == 404
    work_off()
    monkeypatch.setattr("teardown.imaging.store.pictures.LARGEST_WHOLE_PX", 1000)
    assert b"data-viewer" in client.get(address).content
    assert client.get(tile).status_code == 200
