"""What comes to the bench: a straight line to the limit, the lives of sisters, and weeks that add up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.science.reliability.bench_load import (
    Forecast,
    NoForecast,
    forecast,
    from_sisters,
    hours_a_cell,
    weeks,
)


def test_a_test_that_loses_a_hundredth_a_day_ends_when_it_has_lost_what_is_left():
    found = forecast(retention=0.80, limit=0.60, fade_per_day=0.01, fade_low=0.008, fade_high=0.02)
    assert (found.soonest_days, found.likely_days, found.latest_days) == (
        pytest.approx(10), pytest.approx(20), pytest.approx(25))  # fmt: skip


def test_a_fade_that_may_be_none_has_no_latest_day():
    found = forecast(retention=0.80, limit=0.60, fade_per_day=0.01, fade_low=-0.001, fade_high=0.02)
    assert found.latest_days is None
    assert found.share_by(1e9) == 0.5


def test_what_does_not_fade_is_not_forecast():
    with pytest.raises(NoForecast, match="no end"):
        forecast(retention=0.9, limit=0.6, fade_per_day=-0.001, fade_low=-0.002, fade_high=0)
    with pytest.raises(NoForecast):
        from_sisters(100, [80, 99])


def test_a_cell_at_its_limit_ends_now():
    assert forecast(retention=0.6, limit=0.6, fade_per_day=0, fade_low=0, fade_high=0).share_by(0) == 1


def test_sisters_that_ended_sooner_tell_nothing():
    found = from_sisters(50, [40, 60, 70, 90])
    assert (found.soonest_days, found.likely_days, found.latest_days) == (10, 20, 40)


times = st.floats(0, 500, allow_nan=False)


@given(st.tuples(times, times, times), st.lists(times, min_size=2, max_size=6))
def test_the_chance_to_have_ended_only_grows(three, days):
    low, mode, high = sorted(three)
    shares = [Forecast(low, mode, high, "").share_by(day) for day in sorted(days)]
    assert shares == sorted(shares)
    assert all(0 <= share <= 1 for share in shares)
    assert Forecast(low, mode, high, "").share_by(high + 1) == 1


def test_a_triangle_has_half_of_itself_on_each_side_of_its_middle():
    assert Forecast(0, 10, 20, "").share_by(10) == pytest.approx(0.5)
    assert Forecast(0, 10, 20, "").share_by(5) == pytest.approx(0.125)


def test_what_the_bench_does_not_do_waits_for_the_next_week():
    ending = [Forecast(1, 2, 3, "")] * 4
    first, second, third = weeks(ending, waiting=2, hours_a_cell=2.5, hours_a_week=10, count=3)
    assert (first.ending, first.wanted_h, first.waiting_h) == (
        pytest.approx(4),
        pytest.approx(10),
        pytest.approx(5),
    )
    assert (second.waiting_h, third.waiting_h) == (0, 0)


def test_the_laboratory_s_own_median_counts_once_there_are_thirty():
    assert hours_a_cell([3.0] * 29)[0] == 2.5
    assert hours_a_cell([3.0] * 29, 4.0) == (4.0, "as the laboratory set it")
    assert hours_a_cell([3.0] * 30, 4.0)[0] == 3.0
