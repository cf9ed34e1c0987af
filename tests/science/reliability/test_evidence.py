"""How sure a judgement may be called is checked against what it rests on, and never raised."""

import pytest

from teardown.science.reliability.evidence import Confidence, Kind, Piece, grounds_of


def for_(*kinds: Kind) -> list[Piece]:
    return [Piece(kind, speaks_for=True) for kind in kinds]


def against(*kinds: Kind) -> list[Piece]:
    return [Piece(kind, speaks_for=False) for kind in kinds]


@pytest.mark.parametrize(
    ("pieces", "highest"),
    [
        ([], Confidence.UNDETERMINED),
        (for_(Kind.OBSERVATION), Confidence.POSSIBLE),
        (for_(Kind.IMAGE, Kind.IMAGE), Confidence.POSSIBLE),
        (for_(Kind.OBSERVATION, Kind.IMAGE), Confidence.PROBABLE),
        (for_(Kind.IMAGE, Kind.DIFFRACTION), Confidence.CONFIRMED),
        (for_(Kind.INTERVENTION), Confidence.CONFIRMED),
        (for_(Kind.IMAGE, Kind.DIFFRACTION) + against(Kind.CYCLING), Confidence.POSSIBLE),
        (for_(Kind.INTERVENTION) + against(Kind.OBSERVATION), Confidence.POSSIBLE),
        (against(Kind.CYCLING), Confidence.UNDETERMINED),
    ],
)
def test_the_highest_grade_follows_the_kinds(pieces, highest):
    assert grounds_of(pieces).highest is highest


def test_two_pieces_of_one_kind_count_once():
    grounds = grounds_of(for_(Kind.CYCLING, Kind.CYCLING, Kind.CYCLING))
    assert grounds.kinds_for == (Kind.CYCLING,)
    assert grounds.missing[Confidence.PROBABLE] == ("a second kind of evidence besides cycling",)


def test_what_is_missing_is_said_in_words():
    missing = grounds_of(for_(Kind.OBSERVATION, Kind.IMAGE)).missing
    assert missing == {
        Confidence.CONFIRMED: ("a second kind of measurement besides image measure, or an intervention",)
    }


def test_a_contradiction_must_be_answered():
    missing = grounds_of(for_(Kind.IMAGE, Kind.DIFFRACTION) + against(Kind.CYCLING)).missing
    assert missing[Confidence.CONFIRMED] == ("an answer to what speaks against it: cycling",)


def test_a_lower_claim_is_always_allowed():
    grounds = grounds_of(for_(Kind.IMAGE, Kind.DIFFRACTION))
    assert all(grounds.allows(claimed) for claimed in Confidence)
    low = grounds_of(for_(Kind.OBSERVATION))
    assert not low.allows(Confidence.PROBABLE)
    assert low.allows(Confidence.POSSIBLE)


def test_the_order_of_evidence_does_not_matter():
    pieces = for_(Kind.IMAGE, Kind.MASS) + against(Kind.CYCLING)
    assert grounds_of(pieces) == grounds_of(pieces[::-1])
