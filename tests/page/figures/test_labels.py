"""Words never lie on each other."""

import re
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont

from teardown.page.figures import Axis, Band, Curve, Figure, Mark, Rule, draw
from teardown.page.figures.labels import SIZE, Box, Spot, spread, text_width
from teardown.page.finders import typeface_folders
from tests.page.figures.makers import SVG, a_curve, a_figure


def boxes_of(figure: Figure) -> list[tuple[str, Box]]:
    """Read every text of a drawing back, with the room that it takes."""
    tree = ElementTree.fromstring(str(draw(figure)))  # noqa: S314 - drawn by ourselves
    found = []
    for node in tree.iter(f"{SVG}text"):
        anchor = node.get("text-anchor", "start")
        spot = Spot(float(node.get("x", "0")), float(node.get("y", "0")), anchor)  # type: ignore[arg-type]
        found.append((node.text or "", spot.box(node.text or "")))
    return found


def assert_apart(figure: Figure) -> None:
    for (one, a), (other, b) in combinations(boxes_of(figure), 2):
        assert not a.meets(b), f"“{one}” lies on “{other}”"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 40), min_size=1, max_size=12),
    st.integers(240, 900),
    st.integers(160, 500),
    st.booleans(),
)
def test_no_word_of_a_drawing_lies_on_another(seeds: list[int], width: int, height: int, ends: bool) -> None:
    curves = tuple(
        a_curve(f"SP-{seed:04d} and its twin", seed=seed, end="failed", end_label="50 %" if ends else "")
        for seed in seeds
    )
    assert_apart(
        a_figure(
            *curves,
            width=width,
            height=height,
            bands=(Band(40, 60, "knee 50 (40–60)"),),
            rules=(Rule(0.5, "80 % of peak"), Rule(0.51, "limit")),
            marks=(Mark(20, 0.45, "leak seen"), Mark(21, 0.45, "gas seen")),
        )
    )


def test_the_only_name_stands_over_the_end_of_its_curve_and_no_line_crosses_the_plot() -> None:
    """A median that ends early among cells that run on is not led to from the margin."""
    until = tuple(range(1, 280))
    cells = [Curve("", until, (0.482 + 0.003 * number,) * len(until)) for number in range(12)]
    median = Curve("median", until[:125], (0.5,) * 125)
    figure = a_figure(*cells, median, width=800, height=300, y=Axis("capacity, Ah", low=0.0, high=0.7))
    (leader,) = re.findall(r'd="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)" class="leader"', str(draw(figure)))
    x1, y1, x2, y2 = map(float, leader)
    assert (x1, abs(y1 - y2) < 96) == (x2, True)
    assert_apart(figure)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 12), st.booleans())
def test_every_word_stays_on_the_paper(count: int, right: bool) -> None:
    curves = tuple(a_curve(f"SP-{i:04d}", seed=i) for i in range(count))
    figure = a_figure(*curves, right=Axis("efficiency", percent=True, low=0, high=1) if right else None)
    paper = Box(-1, -1, figure.width + 1, figure.height + 1)
    assert all(box.within(paper) for _, box in boxes_of(figure))


def test_labels_without_room_on_the_curves_go_beside_them_all_together() -> None:
    names = [f"SP-{i:04d}" for i in range(9)]
    shown = boxes_of(a_figure(*(a_curve(n, seed=i) for i, n in enumerate(names)), height=320))
    lefts = {box.left for text, box in shown if text in names}
    assert len([t for t, _ in shown if t in names]) == 9
    assert len(lefts) == 1


@given(st.lists(st.floats(0, 300), min_size=1, max_size=15))
def test_spreading_keeps_order_distance_and_bounds(wanted: list[float]) -> None:
    placed = spread(wanted, 0, 300, 16)
    in_order = [placed[i] for i in sorted(range(len(wanted)), key=lambda i: wanted[i])]
    assert all(b - a >= 16 - 1e-6 for a, b in pairwise(in_order))
    assert all(-1e-6 <= p <= 300 for p in placed)


def test_heights_already_apart_stay_where_they_are() -> None:
    assert spread([10, 50, 200], 0, 300, 16) == [10, 50, 200]


@pytest.mark.parametrize("text", ["capacity, Ah", "SP-0413", "66–76 %", "Whiskers: 95 %", "mmmm", "iiii"])
def test_widths_are_those_of_the_face_and_a_little_more(text: str) -> None:
    face = ImageFont.truetype(typeface_folders()[0] / "SourceSansPro-Regular.otf", 1000)
    true_width = face.getlength(text) * SIZE / 1000
    assert true_width <= text_width(text) <= 1.2 * true_width
