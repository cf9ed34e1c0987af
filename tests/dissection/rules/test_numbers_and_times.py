"""Numbers in three tiers, minutes by the steady clock."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.dissection.rules.tiers import Range, Tiers, tiers_of
from teardown.dissection.rules.times import Moment, exposure_words, minutes_between

NOON = dt.datetime(2031, 3, 4, 12, 0, tzinfo=dt.UTC)
MASS = {"unit": "g", "impossible": [0, None], "of_build": {"column": "build_mass_g", "usual": [0.9, 1.02]}}


@given(st.floats(-1e6, 1e6))
def test_what_is_usual_and_possible_is_quiet(value):
    tier, sentence = Tiers("g", Range(0, 100), Range(10, 20)).judge(value)
    assert tier == ("quiet" if 10 <= value <= 20 else "unusual" if 0 <= value <= 100 else "impossible")
    assert bool(sentence) == (tier != "quiet")


def test_a_range_of_the_build_follows_the_cell():
    assert tiers_of(MASS, {"build_mass_g": 40.0}).usual == Range(36.0, 40.8)
    assert tiers_of(MASS, {"build_mass_g": None}).usual == Range()


def test_the_sentences_name_number_unit_and_range():
    tiers = tiers_of(MASS, {"build_mass_g": 40.0})
    assert tiers.judge(-1)[1] == "-1 g cannot be: it is at least 0 g."
    assert tiers.judge(35)[1].startswith("35 g is unusual here (36 to 40.8 g). Read it again")


@given(st.integers(0, 10**9), st.integers(0, 10**9), st.integers(-(10**7), 10**7))
def test_a_wall_clock_set_anew_changes_nothing_on_one_steady_clock(start_ms, lasted_ms, jump_s):
    start = Moment(NOON, start_ms, "boot")
    end = Moment(NOON + dt.timedelta(seconds=jump_s), start_ms + lasted_ms, "boot")
    assert minutes_between(start, end) == pytest.approx(lasted_ms / 60_000)


@pytest.mark.parametrize(("clock", "ms"), [("other boot", 5), ("", None), ("boot", None)])
def test_without_a_common_steady_clock_the_wall_clock_counts(clock, ms):
    end = Moment(NOON + dt.timedelta(minutes=12), ms, clock)
    assert minutes_between(Moment(NOON, 0, "boot"), end) == 12


def test_exposure_is_said_in_words():
    assert [exposure_words(m) for m in (None, 0, 4.9, 5, 29, 30)] == [
        "time in air not known", "short exposure", "short exposure",
        "noted exposure", "noted exposure", "long exposure",
    ]  # fmt: skip
