"""Every code of a refusal has its line in the help."""

import re

import pytest

from teardown.review.dossier.refusals import HOUSE, every_refusal


def test_every_code_in_the_source_is_explained() -> None:
    written = set()
    for path in HOUSE.rglob("*.py"):
        written |= set(
            re.findall(r'^    code(?:: str)? = "([^"]+)"', path.read_text(encoding="utf-8"), re.MULTILINE)
        )
    assert {refused.code for refused in every_refusal()} == written


@pytest.mark.parametrize("refused", every_refusal(), ids=lambda refused: refused.code)
def test_each_says_what_it_means(refused: object) -> None:
    assert refused.sentence.endswith(".")  # type: ignore[attr-defined]
