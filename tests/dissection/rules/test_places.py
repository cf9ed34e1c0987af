"""An address names one place, whichever face one looks at."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.dissection.rules.places import (
    NotAPlace,
    Place,
    all_places,
    drawn_row,
    drawn_x,
    grid_of,
    place_at,
    read_place,
    with_point,
)

fractions = st.floats(0, 1)


def test_the_grid_has_eighteen_places_and_the_narrow_one_six():
    assert len(set(all_places())) == 18
    assert [place.address for place in all_places(grid_of(12.0))] == [
        "A.T2", "A.M2", "A.B2", "B.T2", "B.M2", "B.B2",
    ]  # fmt: skip


@given(st.sampled_from(all_places()))
def test_an_address_reads_back_to_its_place(place):
    assert read_place(place.address) == read_place(place.address.lower().replace(".", "")) == place


@given(fractions, fractions, st.sampled_from("AB"))
def test_every_point_lies_in_the_place_whose_middle_is_nearest(x, y, face):
    place = place_at(x, y, face)
    across, down = place.middle()
    assert abs(x - across) <= 1 / 6 + 1e-9
    assert abs(y - down) <= 1 / 6 + 1e-9


@given(fractions, st.sampled_from("AB"))
def test_drawing_and_tapping_are_one_rule(x, face):
    assert drawn_x(drawn_x(x, face), face) == pytest.approx(x, abs=1e-15)


def test_face_b_is_drawn_mirrored_and_kept_as_it_is():
    assert [place.width for place in drawn_row("M", "A")] == ["1", "2", "3"]
    assert [place.width for place in drawn_row("M", "B")] == ["3", "2", "1"]
    behind = place_at(drawn_x(0.1, "B"), 0.5, "B")
    assert behind.width == "3", "a tap on the left of face B is the right of face A"


def test_a_zone_and_a_depth_are_read():
    assert read_place(" Liquid  line ") == Place(zone="liquid line")
    assert read_place("M2 d=0.35") == Place("", "M", "2", "", 0.35)
    assert read_place("A.M2 d=0.35").words == "face A, middle, centre, 35 % of the thickness from face A"
    assert read_place("") == Place()


@pytest.mark.parametrize("text", ["A.M4", "C.M2", "somewhere", "M", "A.M2 d=1.5", "M2 M2"])
def test_what_is_no_address_is_refused_with_what_one_looks_like(text):
    with pytest.raises(NotAPlace, match=r"as A\.M2"):
        read_place(text)


def test_a_zone_has_no_middle():
    with pytest.raises(NotAPlace):
        Place(zone="tab").middle()
    with pytest.raises(NotAPlace, match="off the electrode"):
        place_at(1.2, 0.5, "A")


@given(fractions, fractions, st.sampled_from("AB"))
def test_a_point_beside_its_own_address_is_taken_and_gives_it_to_a_bare_face(x, y, face):
    place = place_at(x, y, face)
    assert with_point(place, x, y) == place
    assert with_point(Place(face=face), x, y) == place


@pytest.mark.parametrize(
    ("address", "x", "y", "said"),
    [
        ("A.T1", 0.5, 0.5, "lies in A.M2, not in A.T1"),
        ("liquid line", 0.5, 0.5, "zone with a name"),
        ("", 0.5, 0.5, "on which face"),
        ("A.M2", 0.5, None, "two fractions"),
        ("A.M2", 1.2, 0.5, "off the electrode"),
    ],
)
def test_a_point_that_contradicts_its_address_is_refused(address, x, y, said):
    with pytest.raises(NotAPlace, match=said):
        with_point(read_place(address), x, y)


def test_a_point_moved_from_a_cell_of_the_other_grid_keeps_its_address():
    assert with_point(read_place("A.T1"), 0.1, 0.1, "3x1").address == "A.T1"
    assert with_point(read_place("A.T2"), 0.1, 0.1, "3x3").address == "A.T2"
