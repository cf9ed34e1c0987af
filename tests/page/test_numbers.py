"""Numbers typed in come back as typed, or are refused in words."""

import copy
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.page.numbers import EnteredNumber, UnreadableNumber, read_number

plain_decimals = st.decimals(
    min_value=Decimal("-1e9"), max_value=Decimal("1e9"), allow_nan=False, allow_infinity=False, places=6
)


@given(plain_decimals)
def test_point_and_comma_read_alike(number: Decimal) -> None:
    with_point = f"{number:f}"
    assert read_number(with_point) == read_number(with_point.replace(".", ",")) == float(number)


@given(st.floats(allow_nan=False, allow_infinity=False).filter(lambda v: v == 0 or abs(v) > 1e-300))
def test_what_python_writes_is_read_back_the_same(value: float) -> None:
    assert read_number(repr(value)) == value


@given(st.text(max_size=30))
def test_anything_is_either_a_finite_number_or_a_sentence(text: str) -> None:
    said = ""
    try:
        number = read_number(text)
    except UnreadableNumber as refusal:
        said, number = str(refusal), EnteredNumber(0.0, text.strip(), 0)
    assert said.endswith(".") or not said
    assert abs(number) < float("inf")
    assert number.text == text.strip()


@given(
    st.text(alphabet="0123456789", min_size=1, max_size=6),
    st.text(alphabet="0123456789", min_size=1, max_size=6),
)
def test_a_nonzero_number_never_becomes_zero(whole: str, part: str) -> None:
    number = read_number(f"{whole},{part}")
    assert (number == 0) == (set(whole + part) <= {"0"})


@pytest.mark.parametrize(
    ("text", "value", "decimals"),
    [
        ("1,188", 1.188, 3),
        ("1 234 567.5", 1234567.5, 1),
        ("12\u202f000", 12000.0, 0),
        ("\u22123,50", -3.5, 2),
        (" .5 ", 0.5, 1),
        ("6.02e23", 6.02e23, -21),
        ("1e-3", 1e-3, 3),
        ("007", 7.0, 0),
        ("0e-9999", 0.0, 9999),
    ],
)
def test_the_usual_ways_of_writing(text: str, value: float, decimals: int) -> None:
    number = read_number(text)
    assert (number, number.decimals, number.text) == (value, decimals, text.strip())


def test_a_copy_remembers_how_it_was_typed() -> None:
    number = copy.deepcopy(read_number("0,450"))
    assert isinstance(number, EnteredNumber)
    assert number.text == "0,450"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Enter a number."),
        ("1_000", "underscore"),
        ("１２", "Type the digits 0 to 9"),
        ("٣", "Type the digits 0 to 9"),
        ("nan", "not a measured number"),
        ("-Infinity", "not a measured number"),
        ("1e400", "larger than can be kept"),
        ("1e-400", "smaller than can be kept"),
        ("4e-320", "smaller than can be kept"),
        ("1,234.5", "more than one point or comma"),
        ("1.234.567", "more than one point or comma"),
        ("12 5", "Spaces may only part thousands"),
        ("45 %", "percent sign"),
        ("1.2 g", "more than a number"),
        ("1.2 1.3 g", "more than one point or comma"),
        ("abc", "is not a number"),
        ("0x1f", "more than a number"),
        ("½", "is not a number"),
        ("--1", "is not a number"),
        ("1e", "more than a number"),
        (".", "is not a number"),
        ("9" * 500, "larger than can be kept"),
    ],
)
def test_what_is_not_one_number_is_refused_with_the_reason(text: str, words: str) -> None:
    with pytest.raises(UnreadableNumber) as refusal:
        read_number(text)
    assert words in str(refusal.value)
    assert len(str(refusal.value)) < 200
