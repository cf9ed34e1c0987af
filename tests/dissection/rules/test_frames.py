"""Four tapped corners fix the electrode on a photograph, wherever the camera stood."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.dissection.rules.frames import Frame, NotAFrame, area, centre, homography, polygon
from teardown.dissection.rules.places import all_places, place_at

fractions = st.floats(0, 1)
SQUARE = ((0.2, 0.1), (0.8, 0.1), (0.8, 0.9), (0.2, 0.9))


def camera(turn=0.4, tilt=0.7, roll=0.2, away=3.0):
    """Give where a pinhole camera sees a point of an electrode 0.6 by 0.8 that lies on the bench."""
    cos, sin = math.cos, math.sin
    about_z = np.array([[cos(turn), -sin(turn), 0], [sin(turn), cos(turn), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, cos(tilt), -sin(tilt)], [0, sin(tilt), cos(tilt)]])
    about_y = np.array([[cos(roll), 0, sin(roll)], [0, 1, 0], [-sin(roll), 0, cos(roll)]])

    def seen(x, y):
        there = about_z @ about_x @ about_y @ np.array([(x - 0.5) * 0.6, (y - 0.5) * 0.8, 0])
        depth = there[2] + away
        return 0.5 + there[0] / depth * 1.5, 0.5 + there[1] / depth * 1.5

    return seen


def frame_of(seen, face="A"):
    return Frame(tuple(seen(x, y) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))), face)


@given(fractions, fractions, st.floats(-0.6, 0.6), st.floats(-0.9, 0.9), st.floats(-0.6, 0.6))
def test_a_camera_anywhere_is_undone_exactly(x, y, turn, tilt, roll):
    seen = camera(turn, tilt, roll)
    assert frame_of(seen).to_electrode(*seen(x, y)) == pytest.approx((x, y), abs=1e-9)


@given(fractions, fractions, st.sampled_from("AB"))
def test_there_and_back_is_where_one_was(x, y, face):
    frame = frame_of(camera(), face)
    assert frame.to_electrode(*frame.to_picture(x, y)) == pytest.approx((x, y), abs=1e-9)


def test_every_place_read_off_a_photograph_has_its_address():
    seen = camera()
    for place in all_places(faces="A"):
        assert frame_of(seen).place(*seen(*place.middle())) == place


def test_on_face_b_the_left_before_the_eye_is_the_third_column():
    frame = Frame(SQUARE, "B")
    assert frame.place(0.25, 0.15).address == "B.T3"
    assert frame.to_electrode(0.2, 0.1) == pytest.approx((1, 0))


def test_the_middle_of_a_leaning_electrode_is_where_its_diagonals_cross():
    """Projective geometry keeps lines: the diagonals' crossing, not the mean of the corners."""
    corners = ((0.1, 0.1), (0.9, 0.3), (0.8, 0.8), (0.2, 0.9))
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners
    along = np.linalg.solve([[cx - ax, bx - dx], [cy - ay, by - dy]], [bx - ax, by - ay])[0]
    crossing = ax + along * (cx - ax), ay + along * (cy - ay)
    assert Frame(corners).to_picture(0.5, 0.5) == pytest.approx(crossing, abs=1e-12)
    assert np.hypot(*np.subtract(crossing, np.mean(corners, axis=0))) > 0.01


def test_opencv_finds_the_same_map():
    """A general-purpose library as reference: cv2.getPerspectiveTransform."""
    cv2 = pytest.importorskip("cv2")
    corners = ((0.11, 0.13), (0.87, 0.21), (0.91, 0.79), (0.17, 0.93))
    unit = ((0, 0), (1, 0), (1, 1), (0, 1))
    theirs = cv2.getPerspectiveTransform(np.float32(corners), np.float32(unit))
    assert homography(corners, unit) == pytest.approx(theirs, rel=1e-4, abs=1e-5)


def test_a_finger_that_misses_the_edge_by_little_meant_the_edge():
    assert Frame(SQUARE).to_electrode(0.195, 0.5) == pytest.approx((0, 0.5))
    with pytest.raises(NotAFrame, match="off the electrode"):
        Frame(SQUARE).to_electrode(0.1, 0.5)


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (SQUARE[:3], "3 were tapped"),
        (SQUARE[::-1], "Tap top left, top right"),
        ((SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]), "not the corners"),
        (((0.2, 0.1), (0.5, 0.1), (0.8, 0.1), (0.2, 0.9)), "not the corners"),
        (((0.2, 0.1), (0.23, 0.1), (0.23, 0.13), (0.2, 0.13)), "too close"),
        (((-0.2, 0.1), *SQUARE[1:]), "off the picture"),
    ],
)
def test_what_cannot_be_an_electrode_is_refused_in_words(corners, said):
    with pytest.raises(NotAFrame, match=said):
        Frame(tuple(corners))


def test_three_points_on_a_line_fix_no_plane():
    with pytest.raises(NotAFrame, match="on one line"):
        homography(((0, 0), (0.5, 0), (1, 0), (0, 1)), ((0, 0), (1, 0), (1, 1), (0, 1)))


def test_area_and_centre_of_a_triangle_are_the_school_ones():
    triangle = ((0.0, 0.0), (0.6, 0.0), (0.0, 0.3))
    assert area(triangle) == pytest.approx(0.09)
    assert centre(triangle) == pytest.approx((0.2, 0.1))
    assert centre(((0, 0), (1, 0))) == (0.5, 0)


def test_an_outline_may_be_hollow_but_not_cross_itself():
    hollow = [(0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.5, 0.2), (0.1, 0.9)]
    assert polygon(hollow) == tuple(hollow)
    for points, said in (
        ([(0, 0), (1, 1), (1, 0), (0, 1)], "crosses itself"),
        ([(0, 0), (1, 1)], "has 2"),
        ([(0, 0), (0.5, 0.5), (1, 1)], "holds nothing"),
        ([(0, 0), (1, 0), (1, 2)], "off the picture"),
    ):
        with pytest.raises(NotAFrame, match=said):
            polygon(points)


def test_the_outline_of_a_grid_place_lies_in_it():
    frame = frame_of(camera())
    corners = [frame.to_picture(x, y) for x, y in ((0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6))]
    middle = centre([frame.to_electrode(x, y) for x, y in corners])
    assert place_at(*middle, "A").address == "A.M2"
