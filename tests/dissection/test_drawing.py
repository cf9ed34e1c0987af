"""The electrode is drawn as it lies before the eye; what is kept is counted as seen from face A."""

import pytest

from teardown.dissection import actions as bench
from teardown.dissection.dossier.drawing import HEIGHT, blank, drawings
from teardown.dissection.models import Entry
from tests import makers
from tests.dissection.makers import ended

pytestmark = pytest.mark.django_db


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist")


@pytest.fixture
def cell(chemist):
    return ended("SP-0413", chemist)


def seen(cell, chemist, **said):
    return bench.log_entry(dissection=cell.dissection, term="iron.colour", answer="green", by=chemist, **said)


def test_a_point_is_drawn_where_it_lies_and_mirrored_on_face_b(cell, chemist):
    seen(cell, chemist, place="A.T1", x=0.25, y=0.1)
    seen(cell, chemist, place="B.T1", x=0.25, y=0.1)
    face_a, face_b = drawings(cell, Entry.objects.with_words())
    assert face_a.spots[0].x == pytest.approx(0.25 * face_a.width, abs=0.1)
    assert face_b.spots[0].x == pytest.approx(0.75 * face_b.width, abs=0.1)
    assert face_a.spots[0].y == face_b.spots[0].y == pytest.approx(0.1 * HEIGHT)


def test_what_was_said_at_one_point_stands_under_one_number(cell, chemist):
    seen(cell, chemist, place="A.M2", x=0.5, y=0.5)
    bench.log_entry(
        dissection=cell.dissection, term="iron.texture", answer="hard_plate", place="A.M2", x=0.5, y=0.5,
        by=chemist,
    )  # fmt: skip
    seen(cell, chemist, place="A.T2", x=0.5, y=0.2)
    (face,) = drawings(cell, Entry.objects.with_words().order_by("pk"))
    assert [(spot.number, len(spot.said)) for spot in face.spots] == [(1, 1), (2, 2)]  # from top to bottom
    assert face.words == "Face A: 2 points"


def test_without_points_nothing_is_drawn(cell, chemist):
    seen(cell, chemist, place="A.M2")
    assert drawings(cell, Entry.objects.with_words()) == []


@pytest.mark.parametrize(
    ("wide", "high", "width"), [(20, 40, 60), (None, None, 90), (5, 200, 48), (300, 20, 216)]
)
def test_the_plate_has_the_proportions_of_the_electrode_as_built(cell, wide, high, width):
    cell.electrode_width_mm, cell.electrode_height_mm = wide, high
    assert blank(cell, "A").width == pytest.approx(width)


def test_a_narrow_electrode_has_one_column_and_the_corner_is_cut_on_face_a_left(cell):
    cell.electrode_width_mm, cell.electrode_height_mm = 12, 24
    assert blank(cell, "A").columns == []
    assert blank(cell, "A").plate.startswith("9,0")
    assert blank(cell, "B").plate.startswith("0,0")
