"""Numbers, formulas and times as they are set."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.page import typesetting as ts
from teardown.science.estimate import Estimate


def an_estimate(value: float, low: float, high: float, unit: str = "1", n: int = 5) -> Estimate:
    return Estimate(value, low, high, unit, n, "mean of fields, Student t")


@pytest.mark.parametrize(
    ("half_width", "decimals"),
    # Review of Particle Physics, introduction, "Rounding": 0.827 +- 0.119 is given as 0.83 +- 0.12,
    # 0.827 +- 0.367 as 0.8 +- 0.4; three digits between 950 and 999 are rounded up to 1000.
    [
        (0.119, 2),
        (0.367, 1),
        (0.354, 2),
        (0.355, 1),
        (0.949, 1),
        (0.96, 1),
        (5.0, 0),
        (3.4, 1),
        (340, -1),
        (0.008, 3),
    ],
)
def test_digits_follow_the_rounding_rule_of_the_particle_data_group(half_width: float, decimals: int) -> None:
    assert ts.decimals_for(half_width) == decimals


@given(st.floats(1e-6, 1e6), st.floats(-100, 100))
def test_rounding_moves_a_value_by_less_than_a_fifth_of_its_doubt(half_width: float, times: float) -> None:
    value = half_width * times
    rounded = round(value, ts.decimals_for(half_width))
    assert abs(rounded - value) <= 0.2 * half_width


def test_no_doubt_gives_no_digits() -> None:
    with pytest.raises(ValueError, match="says nothing about digits"):
        ts.decimals_for(0)


def test_an_estimate_on_one_line() -> None:
    assert (
        ts.estimate_line(an_estimate(0.712, 0.661, 0.762), percent=True)
        == "71\u202f% (66–76\u202f%, n\u202f5)"
    )
    assert ts.estimate_cell(an_estimate(0.4553, 0.421, 0.489), percent=True) == "45.5 (42.1–48.9)"
    assert (
        ts.estimate_line(an_estimate(1.234, 1.1, 1.4, "µm")) == "1.23\u202fµm (1.10–1.40\u202fµm, n\u202f5)"
    )


def test_a_range_with_a_minus_is_spelt() -> None:
    assert ts.interval(an_estimate(1, -3, 5, "mV")) == "−3 to 5\u202fmV"


def test_only_a_fraction_is_shown_as_percent() -> None:
    with pytest.raises(ValueError, match="not shown as percent"):
        ts.estimate_line(an_estimate(1, 0.5, 2, "µm"), percent=True)


def test_an_exact_value_keeps_four_figures() -> None:
    assert ts.estimate_cell(an_estimate(0.123456, 0.123456, 0.123456)) == "0.1235 (0.1235–0.1235)"


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (-0.5, 1, "−0.5"),
        (-0.0001, 2, "0.00"),
        (12345.678, 0, "12\u202f346"),
        (1234.5, 1, "1234.5"),
        (1234.0, -2, "1200"),
        (0.5, None, "0.5"),
        (3.14159, None, "3.142"),
        (0, None, "0"),
        (6.02214e23, None, "6.022\u2009×\u200910²³"),
        (9.9999e-7, None, "1\u2009×\u200910⁻⁶"),
        (float("nan"), None, "—"),
    ],
)
def test_numbers_are_set_with_true_minus_and_thin_spaces(
    value: float, decimals: int | None, text: str
) -> None:
    assert ts.number(value, decimals) == text


def test_the_reader_chooses_the_decimal_mark() -> None:
    token = ts.decimal_mark.set(",")
    try:
        assert ts.number(12345.5, 1) == "12\u202f345,5"
        assert ts.plain_number(0.5) == "0.5"
    finally:
        ts.decimal_mark.reset(token)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_plain_numbers_read_back_the_same(value: float) -> None:
    assert float(ts.plain_number(value)) == value


@pytest.mark.parametrize(
    ("formula", "html"),
    [
        ("Bi2S3", "Bi<sub>2</sub>S<sub>3</sub>"),
        ("Fe(OH)2", "Fe(OH)<sub>2</sub>"),
        ("K2CO3·1.5H2O", "K<sub>2</sub>CO<sub>3</sub>·1.5H<sub>2</sub>O"),
        ("SO4^2-", "SO<sub>4</sub><sup>2−</sup>"),
        ("OH^-", "OH<sup>−</sup>"),
        ("2H2O", "2H<sub>2</sub>O"),
    ],
)
def test_formulas_get_their_subscripts(formula: str, html: str) -> None:
    assert str(ts.formula(formula)) == html


@pytest.mark.parametrize("word", ["SP-0413", "C3", "FeBi-4", "B.T1", "place 17", "V2", "PDF", "No2x", "H5"])
def test_codes_and_places_are_no_formulas(word: str) -> None:
    assert str(ts.chemistry(word)) == word


def test_formulas_are_found_in_a_sentence_and_the_rest_is_escaped() -> None:
    set_text = ts.chemistry("4 % Bi2S3 & <b>KOH</b>, Fe3O4.")
    assert (
        str(set_text)
        == "4 % Bi<sub>2</sub>S<sub>3</sub> &amp; &lt;b&gt;KOH&lt;/b&gt;, Fe<sub>3</sub>O<sub>4</sub>."
    )


@given(st.text(max_size=60))
def test_no_text_smuggles_markup_in(text: str) -> None:
    left = str(ts.chemistry(text))
    for tag in ("<sub>", "</sub>", "<sup>", "</sup>"):
        left = left.replace(tag, "")
    assert "<" not in left
    assert ">" not in left


def test_times_in_units_and_in_words() -> None:
    assert ts.duration(timedelta(minutes=6, seconds=24)) == "6\u202fmin 24\u202fs"
    assert ts.duration(timedelta(days=12, hours=4, minutes=59)) == "12\u202fdays 4\u202fh"
    assert ts.duration(timedelta(0)) == "0\u202fs"
    assert ts.duration_in_words(timedelta(hours=9, minutes=10)) == "nine hours"
    assert ts.duration_in_words(timedelta(hours=25)) == "25 hours"
    assert ts.duration_in_words(timedelta(hours=50)) == "two days"
    assert ts.duration_in_words(timedelta(days=120)) == "about four months"
    assert ts.duration_in_words(timedelta(seconds=4)) == "less than a minute"


def test_days_and_moments() -> None:
    assert ts.day(date(2026, 3, 3)) == "3\u202fMarch 2026"
    assert ts.short_day(date(2026, 3, 3)) == "3\u202fMar"
    assert ts.moment(datetime(2026, 3, 3, 5, 10, tzinfo=UTC)) == "3\u202fMar 2026, 05:10"


def test_counts_carry_their_noun() -> None:
    assert ts.as_count(1, "field") == "1 field"
    assert ts.as_count(84, "entry", "entries") == "84 entries"
    assert ts.in_words(9) == "nine"
    assert ts.in_words(13) == "13"
