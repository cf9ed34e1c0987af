"""A drawing says what the description says, whole, safe and for everyone."""

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from teardown.page.figures import (
    Axis,
    Band,
    Bar,
    Curve,
    Dot,
    DotPlot,
    Figure,
    Grid,
    Share,
    Stack,
    Stacks,
    Waterfall,
    draw,
    on_common_axes,
    standalone,
)
from tests.page.figures.makers import SVG, a_curve, a_figure

FALL = Waterfall(
    "Where it went",
    "Most is locked oxide.",
    "Ah",
    (
        Bar("at peak", 0.64, total=True, style="ink"),
        Bar("locked oxide", -0.104, -0.15, -0.06, style="oxide"),
        Bar("at end", 0.399, total=True, style="ink"),
    ),
)
DOTS = DotPlot(
    "Passivation",
    "Rarer with bismuth.",
    Axis(percent=True, low=0, high=1),
    (Dot("none", 0.4, 0.3, 0.55, "18 of 43", group="additive"), Dot("never judged", None, note="0 of 0")),
)
STACKS = Stacks(
    "Classes",
    "Half is pore.",
    Axis(percent=True),
    (Stack("SP-0413", (Share("pore", 0.5, "pore"), Share("metal", 0.5, "metal"))),),
)
EVERY_KIND = [
    a_figure(),
    FALL,
    DOTS,
    STACKS,
    Grid("Three", "Alike.", (a_figure(), a_figure(plain=True), a_figure())),
]


def tree(figure: object) -> ElementTree.Element:
    return ElementTree.fromstring(str(draw(figure)))  # type: ignore[arg-type]  # noqa: S314 - drawn by ourselves


def curve_points(figure: Figure) -> list[tuple[float, float]]:
    d = next(n.get("d", "") for n in tree(figure).iter(f"{SVG}path") if "curve" in n.get("class", ""))
    numbers = [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", d)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


@pytest.mark.parametrize("figure", EVERY_KIND, ids=lambda f: type(f).__name__)
def test_every_kind_has_a_name_and_a_description(figure: object) -> None:
    root = tree(figure)
    assert root.get("role") == "img"
    assert (root.get("aria-label") or "").startswith(figure.title)  # type: ignore[attr-defined]
    assert root.find(f"{SVG}title").text == figure.title  # type: ignore[union-attr,attr-defined]
    assert root.find(f"{SVG}desc").text == figure.description  # type: ignore[union-attr,attr-defined]


@pytest.mark.parametrize("figure", EVERY_KIND, ids=lambda f: type(f).__name__)
def test_no_drawing_needs_what_the_policy_forbids(figure: object) -> None:
    drawn = str(draw(figure))  # type: ignore[arg-type]
    assert "style=" not in drawn
    assert "<script" not in drawn
    assert "nan" not in drawn.lower().replace("name", "")


@given(st.text(min_size=1, max_size=20).filter(lambda t: t.isprintable()))
def test_words_are_escaped_wherever_they_stand(words: str) -> None:
    figure = a_figure(
        a_curve(words, key=words, name=words), title=words, description=words, bands=(Band(1, 2, words),)
    )
    assert tree(figure).get("aria-label", "").startswith(words.strip())
    assert (
        tree(DotPlot(words, words, Axis(), (Dot(words, 1, note=words, href=words, group=words),))) is not None
    )


def test_a_value_stands_at_its_place() -> None:
    figure = a_figure(Curve("", (0, 10), (0, 1)), x=Axis(low=0, high=10), y=Axis(low=0, high=1), plain=True)
    (x0, y0), (x1, y1) = curve_points(figure)
    kind, low, high, start, end = tree(figure).get("data-x", "").split()
    assert (kind, float(low), float(high)) == ("linear", 0, 10)
    assert (x0, x1) == (pytest.approx(float(start), abs=0.1), pytest.approx(float(end), abs=0.1))
    assert y0 > y1


def test_a_gap_stays_a_gap() -> None:
    figure = a_figure(Curve("", (1, 2, 3, 4), (1, math.nan, 1, 2)))
    d = next(n.get("d", "") for n in tree(figure).iter(f"{SVG}path") if "curve" in n.get("class", ""))
    assert d.count("M") == 2


def test_a_spike_survives_the_thinning_of_a_long_series() -> None:
    n = 20_000
    y = [0.5] * n
    y[12_345] = 0.9
    figure = a_figure(Curve("", tuple(range(n)), tuple(y)), y=Axis(low=0, high=1), plain=True)
    points = curve_points(figure)
    assert len(points) < 3000
    heights = sorted({round(b) for _, b in points})
    assert len(heights) == 2


def test_steps_hold_their_value_until_the_next() -> None:
    figure = a_figure(Curve("", (0, 1, 2), (1, 0.5, 0.2), kind="steps"))
    points = curve_points(figure)
    assert points[1][1] == points[0][1]
    assert points[1][0] == points[2][0]


@pytest.mark.parametrize(("end", "css"), [("failed", "end"), ("censored", "end hollow")])
def test_a_censored_end_is_open_and_a_failed_one_filled(end: str, css: str) -> None:
    root = tree(a_figure(a_curve(end=end)))
    assert [n.get("class") for n in root.iter(f"{SVG}circle")] == [css]


def test_the_band_is_as_wide_as_its_interval() -> None:
    figure = a_figure(Curve("", (0, 100), (0, 1)), x=Axis(low=0, high=100), bands=(Band(20, 30),))
    root = tree(figure)
    band = next(n for n in root.iter(f"{SVG}rect") if n.get("class") == "band")
    _, _, _, start, end = root.get("data-x", "").split()
    assert float(band.get("width", "0")) == pytest.approx((float(end) - float(start)) / 10, abs=0.05)


def test_a_waterfall_ends_where_its_parts_lead() -> None:
    bars = (Bar("from", 1.0, total=True), Bar("lost", -0.25), Bar("won", 0.05), Bar("to", 0.8, total=True))
    boxes = [n for n in tree(Waterfall("", "", "Ah", bars)).iter(f"{SVG}rect") if n.get("class") == "fill"]
    lost, won, last = boxes[1], boxes[2], boxes[3]
    lost_bottom = float(lost.get("y", "0")) + float(lost.get("height", "0"))
    won_bottom = float(won.get("y", "0")) + float(won.get("height", "0"))
    assert lost_bottom == pytest.approx(won_bottom, abs=0.05)
    assert float(won.get("y", "0")) == pytest.approx(float(last.get("y", "0")), abs=0.05)


def test_lengths_start_at_zero() -> None:
    bars = (Bar("from", 0.9, total=True), Bar("to", 0.45, total=True))
    tall, short = [
        n for n in tree(Waterfall("", "", "Ah", bars)).iter(f"{SVG}rect") if n.get("class") == "fill"
    ]
    assert float(tall.get("height", "0")) == pytest.approx(2 * float(short.get("height", "0")), abs=0.1)


def test_shares_of_a_stack_touch_and_have_their_hatch() -> None:
    root = tree(STACKS)
    pore, metal = [n for n in root.iter(f"{SVG}rect") if n.get("class") == "fill" and n.get("height") == "22"]
    assert float(pore.get("x", "0")) + float(pore.get("width", "0")) == pytest.approx(
        float(metal.get("x", "0")), abs=0.02
    )
    assert {n.get("class") for n in root.iter(f"{SVG}rect")} >= {"hatch hatch-pore", "hatch hatch-metal"}


def test_a_row_without_a_value_keeps_its_note_and_gets_no_dot() -> None:
    root = tree(DOTS)
    assert len(list(root.iter(f"{SVG}circle"))) == 1
    assert "0 of 0" in "".join(root.itertext())


def test_common_axes_are_common_and_hold_everything() -> None:
    alike = on_common_axes([a_figure(a_curve(n=50, seed=1)), a_figure(a_curve(n=200, seed=9))])
    assert len({(f.x.low, f.x.high, f.y.low, f.y.high) for f in alike}) == 1
    assert alike[0].x.high == 200


@settings(max_examples=40, deadline=None)
@given(st.lists(st.one_of(st.floats(-1e9, 1e9), st.just(math.nan)), max_size=40))
def test_any_data_can_be_drawn(data: list[float]) -> None:
    figure = a_figure(Curve("c", tuple(range(len(data))), tuple(data), end="failed", end_label="end"))
    assert "nan" not in str(draw(figure)).replace("name", "")


def test_a_figure_without_data_is_still_a_figure() -> None:
    assert tree(a_figure(Curve("", (), ()))).get("role") == "img"
    assert tree(Grid("", "", ())).get("role") == "img"
    assert tree(DotPlot("", "", Axis(), ())).get("role") == "img"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_drawing_that_stands_alone_knows_its_colours(scheme: str) -> None:
    alone = standalone(str(draw(a_figure())), scheme=scheme)  # type: ignore[arg-type]
    assert "var(" not in alone
    assert "light-dark" not in alone
    assert ("#22201c" in alone) == (scheme == "light")
    assert ElementTree.fromstring(alone).get("role") == "img"  # noqa: S314 - drawn by ourselves


def test_every_token_of_the_drawing_style_is_known() -> None:
    alone = standalone(str(draw(STACKS)), hatched=True)
    assert alone.count("<pattern") == 6
    assert ".drawing .hatch{display:inline}" in alone


def test_fifty_curves_of_five_hundred_points_stay_light() -> None:
    curves = tuple(a_curve("", n=500, seed=i, key=str(i)) for i in range(50))
    assert len(str(draw(a_figure(*curves)))) < 400_000


def test_drawings_with_the_same_room_at_their_sides_align() -> None:
    from teardown.page.figures import Axis, Curve, Figure
    from teardown.page.figures.frame import frame_for

    narrow = Figure("a", "a", Axis(), Axis(), (Curve("", (0, 1), (0, 1)),), sides=(120.0, 80.0))
    wide = Figure("b", "b", Axis(), Axis(), (Curve("", (0, 1), (0, 90_000)),), sides=(120.0, 80.0))
    boxes = [frame_for(figure, 0.0).box for figure in (narrow, wide)]
    assert boxes[0].left == boxes[1].left == 120.0
    assert boxes[0].right == boxes[1].right == narrow.width - 80.0
