"""A misread code is noticed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from teardown.dissection.rules.codes import (
    ALPHABET,
    NotACode,
    check_character,
    make_code,
    read_code,
    with_check,
)

bodies = st.text(ALPHABET, min_size=7, max_size=7)
ALNUM = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@pytest.mark.parametrize(
    ("body", "alphabet", "check"),
    [
        # ISO/IEC 7064:2003, example of MOD 11,10 (from memory)
        ("0794", "0123456789", "5"),
        # MOD 37,36: the example in the release identifier standard that builds on it (from memory)
        ("A12425GABC1234002", ALNUM, "M"),
    ],
)
def test_the_published_examples_come_out(body, alphabet, check):
    assert check_character(body, alphabet) == check


@given(bodies, st.integers(0, 7), st.sampled_from(ALPHABET))
def test_one_wrong_character_is_always_noticed(body, at, other):
    code = with_check(body)
    wrong = code[:at] + other + code[at + 1 :]
    if wrong != code:
        with pytest.raises(NotACode, match="misread"):
            read_code(wrong)


def test_most_swaps_of_neighbours_are_noticed():
    missed = total = 0
    for a in ALPHABET:
        for b in ALPHABET:
            if a != b:
                code = with_check("7K2" + a + b + "R4")
                swapped = code[:3] + b + a + code[5:]
                total += 1
                missed += check_character(swapped[:-1]) == swapped[-1]
    assert missed / total < 0.04


@given(bodies)
def test_case_spaces_and_dashes_do_not_matter(body):
    code = with_check(body)
    assert read_code(f" {code[:4].lower()}-{code[4:]} ") == code


def test_new_codes_read_back_and_differ():
    codes = {make_code() for _ in range(500)}
    assert len(codes) == 500
    assert {read_code(code) for code in codes} == codes


@pytest.mark.parametrize(
    ("text", "why"), [("7K2", "3 characters"), ("7K2M9R4O", "holds O"), ("", "0 characters")]
)
def test_what_is_no_code_says_why(text, why):
    with pytest.raises(NotACode, match=why):
        read_code(text)


def test_letters_that_look_like_digits_are_left_out():
    assert not set("01ILOU") & set(ALPHABET)
