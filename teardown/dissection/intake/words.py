"""What stands in a cell of an older table, as an answer of the bench: its own words, or words it was told."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from teardown.cells.rules import fold
from teardown.dissection.rules.units import OtherQuantity, turned
from teardown.page.numbers import UnreadableNumber, read_number
from teardown.vocabulary.models import Term

ABSENT = frozenset(
    {"absent", "none", "no", "not seen", "not found", "looked for and absent", "absent (looked for)", "nil"}
)
PRESENT = frozenset({"present", "yes", "y", "x", "seen", "true", "+"})
UNSURE = frozenset({"cannot tell", "can't tell", "unclear", "not clear", "?", "unsure"})
NOT_ASKED = frozenset({"", "not asked", "n/a", "na", "-", "–", "—", "not looked at"})
_NUMBER_UNIT = re.compile(r"([-+−]?[\d\s.,]+(?:[eE][-+]?\d+)?)\s*([^\d\s.,].*)?", re.ASCII)
EXTENTS = {
    "trace": "trace", "some": "some", "much": "much", "nearly all": "nearly all", "all": "nearly all",
}  # fmt: skip


class UnknownWord(ValueError):
    """A word that the field does not know; the person says once what it means."""


class NotRead(ValueError):
    """What stands there cannot be the answer; the message says why."""


@dataclass(frozen=True, slots=True)
class Choice:
    """What a word may be said to mean, as its wire form and in words."""

    said: str
    words: str


def choices_of(term: Term) -> list[Choice]:
    """Give what an unknown word of this field may mean."""
    answers = [Choice(f"answer:{each.key}", each.words) for each in term.answers.all() if not each.retired_at]
    extents = [Choice(f"extent:{key}", key) for key in ("trace", "some", "much", "nearly all")]
    if term.data["kind"] == "presence":
        answers = extents if term.data.get("extent") else [Choice("state:present", "present")]
    return [
        *answers,
        Choice("state:absent", "absent (looked for)"),
        Choice("state:cannot tell", "cannot tell"),
        Choice("skip", "nothing: leave it out"),
    ]


def read(text: str, term: Term, unit: str, told: Mapping[str, str]) -> dict[str, Any] | None:
    """Read what stands in a cell of the table; None where it says nothing.

    Parameters
    ----------
    told : mapping
        Folded words that a person was asked about, with what they mean.

    Raises
    ------
    UnknownWord, NotRead
    """
    plain = fold(text)
    if plain in NOT_ASKED:
        return None
    if plain in told:
        return None if told[plain] == "skip" else meaning_of(told[plain])
    kind = term.data["kind"]
    if kind == "text":
        return {"value": text.strip()}
    if kind == "number":
        return _number(text, term, unit)
    if plain in UNSURE:
        return {"state": "cannot tell"}
    if kind == "choice":
        return _choice(plain, text, term)
    if plain in ABSENT:
        return {"state": "absent"}
    if plain in PRESENT:
        return {"state": "present"}
    return _extent(plain, text, term)


def meaning_of(said: str) -> dict[str, Any]:
    """Read the wire form of a choice."""
    kind, _, value = said.partition(":")
    if kind == "extent":
        return {"state": "present", "extent": value}
    return {kind: value}


def _number(text: str, term: Term, unit: str) -> dict[str, Any]:
    if text.strip().startswith("="):
        raise NotRead("It is a formula. Paste its value in place of it.")
    shape = _NUMBER_UNIT.fullmatch(text.strip())
    bare, own = (shape[1].strip(), shape[2] or "") if shape else (text.strip(), "")
    try:
        return {"value": turned(read_number(bare).text, own or unit, term.data["unit"])}
    except (UnreadableNumber, OtherQuantity) as error:
        raise NotRead(str(error)) from error


def _choice(plain: str, text: str, term: Term) -> dict[str, Any]:
    for answer in term.answers.all():
        if plain in {
            fold(answer.words),
            fold(answer.key),
            fold(answer.key.rpartition(".")[2].replace("_", " ")),
        }:
            return {"answer": answer.key}
    if plain in ABSENT or plain == fold(term.data.get("absent", "")):
        return {"state": "absent"}
    raise UnknownWord(f"“{text}” is no answer that “{term}” knows.")


def _extent(plain: str, text: str, term: Term) -> dict[str, Any]:
    if plain in EXTENTS and term.data.get("extent"):
        return {"state": "present", "extent": EXTENTS[plain]}
    percent = re.fullmatch(r"(?:about |ca\.? ?|~)?(\d{1,3}(?:[.,]\d+)?) ?%", plain)
    if percent and term.data.get("extent"):
        share = float(percent[1].replace(",", ".")) / 100
        if share > 1:
            raise NotRead(f"“{text}” is more than the whole.")
        return {"state": "present", "extent_fraction": share} if share else {"state": "absent"}
    raise UnknownWord(f"“{text}” is no answer that “{term}” knows.")
