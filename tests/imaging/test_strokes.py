"""Classes shown by strokes are learned in the background, and what they measure is marked as trained."""

import io
import json

import numpy as np
import pytest
import tifffile
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from PIL import Image

from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import (
    add_micrograph,
    bring_back_strokes,
    keep_strokes,
    measure_by_strokes,
    train_on_strokes,
)
from teardown.imaging.measure.training import stroke_map
from teardown.imaging.models import Classifier, FieldMeasure, ImagingSession, SampleMeasure, StrokeSet
from teardown.imaging.runs import standing
from teardown.imaging.store import classes_within, window_round
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db
NAMES = ("pore", "oxide", "metal")


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def field(operator):
    """A measured field of a sample, in a session."""
    session = ImagingSession.objects.create(name="Thursday")
    made = add_micrograph(
        picture=section_file(8, size=160),
        name="1.png",
        by=operator,
        sample=make_sample(by=operator),
        session=session,
    )
    work_off()
    return made


def strokes_on(field, step=9):
    """Short strokes along rows, each of the class that the result has there: a person who sees well."""
    result = standing([field])[field.pk]
    labels = classes_within(result, window_round(field, 80, 80, 160))
    strokes = []
    for row in range(4, 156, step):
        for column in range(4, 150, step):
            run = labels[row, column : column + 4]
            if (run == run[0]).all() and run[0] < 3:
                points = [[column + 0.5, row + 0.5], [column + 3.5, row + 0.5]]
                strokes.append({"class": NAMES[run[0]], "width_px": 2, "points": points})
    return strokes


def test_strokes_are_kept_as_versions_and_brought_back(operator, field):
    """Nothing is lost: an earlier version comes back as a new one."""
    first = strokes_on(field)[:3]
    keep_strokes(micrograph=field, strokes=first, by=operator)
    keep_strokes(micrograph=field, strokes=[], by=operator)
    made = bring_back_strokes(micrograph=field, version=1, by=operator)
    assert made.version == 3
    assert made.strokes == StrokeSet.objects.get(version=1).strokes
    with pytest.raises(ValidationError, match="no version 9"):
        bring_back_strokes(micrograph=field, version=9, by=operator)


def test_a_stroke_is_drawn_where_it_was_drawn(field):
    """A line of two pixels' width covers about its length times two; a later stroke lies over an earlier."""
    line = {"class": "pore", "width_px": 2, "points": [[10, 20], [50, 20]]}
    drawn = stroke_map([line], (60, 80))
    assert 60 <= (drawn == 0).sum() <= 130
    assert drawn[20, 30] == 0
    assert drawn[40, 30] == 255
    over = stroke_map([line, {"class": "metal", "width_px": 6, "points": [[30, 20]]}], (60, 80))
    assert over[20, 30] == 2
    assert np.array_equal(over[:, :20], drawn[:, :20])


@pytest.mark.long
def test_what_strokes_taught_measures_and_is_marked_trained(client, operator, field):
    """From strokes to numbers: out-of-bag accuracy is shown, and every page says trained."""
    keep_strokes(micrograph=field, strokes=strokes_on(field), by=operator)
    train_on_strokes(micrograph=field, by=operator)
    work_off()
    learned = Classifier.objects.get()
    assert learned.session == field.session
    assert learned.accuracy > 0.8
    before = FieldMeasure.objects.get(micrograph=field, quantity="porosity").value
    measure_by_strokes(micrographs=[field], classifier=learned, reason="two oxides", by=operator)
    work_off()
    result = standing([field])[field.pk]
    assert result.levels["source"] == "trained"
    assert "trained_classifier" in {flag["code"] for flag in result.flags}
    row = FieldMeasure.objects.get(run=result.run, quantity="porosity")
    assert row.details["levels"] == "trained"
    assert row.value == pytest.approx(before, abs=0.05)
    assert SampleMeasure.objects.order_by("pk").last().details["levels"] == ["trained"]
    assert result.run.inputs.filter(role="classifier").exists()
    client.force_login(operator)
    page = client.get(reverse("micrograph", args=[field.pk])).content.decode()
    assert f"Trained by strokes by {operator}: two oxides" in page
    assert b"trained by strokes" in client.get(reverse("micrographs")).content
    strokes = client.get(reverse("micrograph_strokes", args=[field.pk])).content
    assert b"called rightly by trees that never saw them" in strokes


def test_strokes_that_say_nothing_are_refused_in_words(operator, field):
    """No class by that name, outside the picture, too wide; too few to learn from."""
    good = {"class": "pore", "width_px": 2, "points": [[10, 10], [20, 10]]}
    for wrong, words in (
        ({"class": "rust"}, "is no class"),
        ({"width_px": 900}, "pixels wide"),
        ({"points": [[10, 10], [900, 10]]}, "outside the picture"),
        ({"points": []}, "1 to 2000 points"),
        ({"points": [["a", 1]]}, "could not be read"),
    ):
        with pytest.raises(ValidationError, match=words):
            keep_strokes(micrograph=field, strokes=[good | wrong], by=operator)
    with pytest.raises(ValidationError, match="Draw strokes over pore"):
        train_on_strokes(micrograph=field, by=operator)
    keep_strokes(micrograph=field, strokes=[good], by=operator)
    run = train_on_strokes(micrograph=field, by=operator)
    work_off()
    assert "The strokes cover" in Run.objects.get(pk=run.pk).error
    with pytest.raises(PermissionDenied):
        keep_strokes(micrograph=field, strokes=[good], by=make_user("reviewer"))


def test_the_page_takes_strokes_and_says_what_is_missing(client, operator, field, monkeypatch):
    """Kept from the page; without the optional library it says so and keeps strokes all the same."""
    client.force_login(operator)
    address = reverse("micrograph_strokes", args=[field.pk])
    given = {"strokes": json.dumps(strokes_on(field)[:4])}
    assert client.post(address, given).status_code == 302
    assert StrokeSet.objects.get().version == 1
    assert client.post(address, {"strokes": "[1]"}).status_code == 422
    assert client.post(address, {"strokes": "nothing"}).status_code == 422
    monkeypatch.setattr("teardown.science.stereology.strokes.find_spec", lambda _: None)
    page = client.get(address).content.decode()
    assert "optional library that grows decision trees is not installed" in page
    answer = client.post(reverse("micrograph_strokes_train", args=[field.pk]))
    assert answer.status_code == 422
    assert b"pip install" in answer.content


def test_what_was_learned_on_one_session_measures_no_other(operator, field):
    """A reason, and the same sitting."""
    keep_strokes(micrograph=field, strokes=strokes_on(field), by=operator)
    train_on_strokes(micrograph=field, by=operator)
    work_off()
    learned = Classifier.objects.get()
    stranger = add_micrograph(picture=section_file(9, size=128), name="2.png", by=operator, measure=False)
    with pytest.raises(ValidationError, match="another session"):
        measure_by_strokes(micrographs=[stranger], classifier=learned, reason="try", by=operator)
    with pytest.raises(ValidationError, match="Say why"):
        measure_by_strokes(micrographs=[field], classifier=learned, reason=" ", by=operator)


@pytest.mark.long
def test_a_mosaic_is_learned_from_part_by_part_to_the_same_trees(operator, monkeypatch):
    """What is too large to be held gives, from its parts with strokes, the classifier of the whole."""
    pixels = np.asarray(Image.open(io.BytesIO(section_file(8, size=160))))
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, photometric="minisblack", rowsperstrip=16)
    field = add_micrograph(picture=out.getvalue(), name="m.tif", by=operator)
    work_off()
    keep_strokes(micrograph=field, strokes=strokes_on(field), by=operator)
    train_on_strokes(micrograph=field, by=operator)
    work_off()
    whole = Classifier.objects.get()
    monkeypatch.setattr("teardown.imaging.measure.training.LARGEST_WHOLE_PX", 1000)
    keep_strokes(micrograph=field, strokes=strokes_on(field), by=operator)
    train_on_strokes(micrograph=field, by=operator)
    work_off()
    parts = Classifier.objects.order_by("pk").last()
    assert parts.pk != whole.pk
    assert parts.details["digest"] == whole.details["digest"]
    assert parts.accuracy == whole.accuracy
