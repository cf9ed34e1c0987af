"""Ticks stand on round numbers, and values where they belong."""

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from teardown.page.figures.description import Axis
from teardown.page.figures.scales import linear_ticks, nice_step, scale_for, tick_words

values = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30)


@given(values)
@example([0.0, 5e-324])
@example([0.0, -7.5e-230])
def test_every_value_lies_between_the_ends_of_its_axis(data: list[float]) -> None:
    scale, _ = scale_for(Axis(), data, 0, 400)
    slack = 1e-6 * 400
    assert all(-slack <= scale.at(v) <= 400 + slack for v in data)


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5), st.integers(2, 10))
def test_a_step_is_one_two_or_five_and_gives_about_the_wanted_pieces(
    low: float, width: float, wanted: int
) -> None:
    step = nice_step(low, low + width, wanted)
    lead = float(f"{step:e}".split("e")[0])
    assert lead == pytest.approx(round(lead))
    assert round(lead) in (1, 2, 5)
    assert wanted / 2.6 <= width / step <= wanted * 2.6


@pytest.mark.parametrize(
    # Heckbert, "Nice numbers for graph labels", Graphics Gems (1990): 105 to 543 is labelled 100, 200, ...
    # 600.
    ("low", "high", "labels"),
    [(105, 543, [100, 200, 300, 400, 500, 600])],
)
def test_the_example_of_the_published_rule(low: float, high: float, labels: list[float]) -> None:
    scale, ticks = scale_for(Axis(), [low, high], 0, 400, room=100)
    assert ticks == labels
    assert (scale.low, scale.high) == (100, 600)


@given(st.floats(1e-9, 1e9), st.floats(1.5, 1e6))
def test_log_ticks_lie_within_the_axis_in_order(low: float, times: float) -> None:
    scale, ticks = scale_for(Axis(scale="log"), [low, low * times], 0, 400)
    assert ticks == sorted(ticks)
    assert all(scale.low * (1 - 1e-9) <= t <= scale.high * (1 + 1e-9) for t in ticks)
    assert scale.at(low * times) == pytest.approx(400)


@given(st.floats(0, 100), st.floats(0.1, 1000))
def test_a_square_root_axis_starts_at_zero_and_keeps_order(low: float, width: float) -> None:
    scale, ticks = scale_for(Axis(scale="sqrt"), [low, low + width], 0, 400)
    assert scale.at(0) == 0
    assert ticks == sorted(set(ticks))


@given(values)
@example([1.0, -1.0])
def test_tick_words_of_one_axis_are_all_different(data: list[float]) -> None:
    assume(max(data) - min(data) > 1e-3)
    _, ticks = scale_for(Axis(), data, 0, 400)
    words = tick_words(ticks, Axis())
    assert len(set(words)) == len(words)


def test_what_cannot_stand_on_a_log_axis_is_left_out() -> None:
    scale, _ = scale_for(Axis(scale="log"), [0, 1, 10], 0, 100)
    assert str(scale.at(0)) == "nan"


def test_equal_values_still_have_an_axis() -> None:
    scale, ticks = scale_for(Axis(), [3, 3, 3], 0, 100)
    assert scale.high > scale.low
    assert ticks


def test_percent_is_shown_on_the_paper_only() -> None:
    assert tick_words([0, 0.5, 1], Axis(percent=True)) == ["0\u202f%", "50\u202f%", "100\u202f%"]


def test_ticks_have_no_binary_dust() -> None:
    assert tick_words(linear_ticks(0, 0.3, 0.1), Axis()) == ["0.0", "0.1", "0.2", "0.3"]


def test_rows_of_things_bear_their_names() -> None:
    axis = Axis("", 0.5, 3.5, ticks=(3.0, 2.0, 1.0), names=("first", "second", "third"))
    _, ticks = scale_for(axis, [], 100, 0)
    assert tick_words(ticks, axis) == ["first", "second", "third"]
    assert tick_words([2.0], axis) == ["second"]
