"""Thresholds are tried on a crop before anything is measured, and measured with only for a reason."""

import base64
import io

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from PIL import Image

from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, measure_with_thresholds
from teardown.imaging.dossier.crops import sliders_of, thresholds_of
from teardown.imaging.models import FieldMeasure, SectionResult
from teardown.imaging.runs import standing
from teardown.imaging.store import window_round
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
    """A measured field of a sample, with an information strip."""
    made = add_micrograph(
        picture=section_file(3, size=160, strip=24),
        name="1.png",
        by=operator,
        sample=make_sample(by=operator),
    )
    work_off()
    return made


def ask(client, field, **query):
    """Ask for a crop of the middle with thresholds; those that stand where none are given."""
    lower, upper = thresholds_of(standing([field])[field.pk].levels)
    given = {"x": 80, "y": 80, "lower": lower, "upper": upper} | query
    return client.get(reverse("micrograph_levels_tried", args=[field.pk]), given)


def test_the_levels_that_stand_give_what_stands(client, operator, field):
    """A crop as large as the picture, read with the standing thresholds, is the picture's own result."""
    client.force_login(operator)
    found = ask(client, field).json()
    assert (found["left"], found["top"], found["width"], found["height"]) == (0, 0, 160, 160)
    assert float(found["changed"].split()[0]) < 0.5
    assert [row["standing"] for row in found["rows"]] == [row["tried"] for row in found["rows"]]
    picture = base64.b64decode(found["image"].partition(",")[2])
    with Image.open(io.BytesIO(picture)) as shown:
        assert shown.size == (160, 160)


def test_moving_the_upper_threshold_gives_metal_to_oxide(client, operator, field):
    """More oxide in the crop, and pixels that change class; hatched as well as tinted."""
    client.force_login(operator)
    lower, upper = sliders_of(standing([field])[field.pk])
    found = ask(client, field, upper=upper.high, hatched="on").json()
    assert float(found["changed"].split()[0]) > 0.5
    assert found["image"].startswith("data:image/png;base64,")
    turned = ask(client, field, lower=upper.value, upper=lower.value)
    assert turned.status_code == 422
    assert "from pore to metal" in turned.json()["refused"]
    assert ask(client, field, x="nowhere").status_code == 422


def test_a_measurement_with_thresholds_by_hand_is_marked_with_who_and_why(client, operator, field):
    """A new run with manual levels; the first one stays; the mark is on the page and in the list."""
    client.force_login(operator)
    lower, upper = thresholds_of(standing([field])[field.pk].levels)
    address = reverse("micrograph_levels", args=[field.pk])
    assert b"Measure with these levels" in client.get(address).content
    assert client.post(address, {"lower": lower, "upper": upper, "reason": ""}).status_code == 422
    given = {"lower": lower, "upper": upper + 0.02, "reason": "rim darker than the prior"}
    assert client.post(address, given).status_code == 302
    work_off()
    result = standing([field])[field.pk]
    assert result.levels["source"] == "manual"
    assert result.levels["thresholds"] == pytest.approx([lower, upper + 0.02])
    assert "manual_thresholds" in {flag["code"] for flag in result.flags}
    assert SectionResult.objects.count() == 2
    assert FieldMeasure.objects.filter(run=result.run).first().details["levels"] == "manual"
    page = client.get(reverse("micrograph", args=[field.pk])).content.decode()
    assert f"Set by hand by {operator}: rim darker than the prior" in page
    assert b"set by hand" in client.get(reverse("micrographs")).content
    assert Record.objects.filter(verb="set levels by hand", reason="rim darker than the prior").count() == 1


def test_thresholds_need_a_reason_an_order_and_a_first_result(operator, field):
    """Nothing is asked for where one of them is missing."""
    before = Run.objects.count()
    with pytest.raises(ValidationError, match="Say why"):
        measure_with_thresholds(micrograph=field, lower=0.4, upper=0.6, reason=" ", by=operator)
    with pytest.raises(ValidationError, match="from pore to metal"):
        measure_with_thresholds(micrograph=field, lower=0.6, upper=0.4, reason="try", by=operator)
    bare = add_micrograph(picture=section_file(4, size=128), name="2.png", by=operator, measure=False)
    with pytest.raises(ValidationError, match="measured once"):
        measure_with_thresholds(micrograph=bare, lower=0.4, upper=0.6, reason="try", by=operator)
    assert Run.objects.count() == before


def test_a_window_is_moved_into_the_picture(field):
    """Round a corner it touches two edges and keeps its size."""
    window = window_round(field, 159, 183, 100)
    assert (window.left, window.top, window.width, window.height) == (60, 84, 100, 100)
    assert window_round(field, -50, 90, 1024).width == 160
