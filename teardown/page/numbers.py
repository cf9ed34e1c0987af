"""Numbers as people type them: read strictly, kept as entered."""

import re
from math import isinf

from teardown.science.errors import Refusal

LONGEST = 40
SMALLEST_NORMAL = 2.2250738585072014e-308  # below it a double loses digits without a word
SPACES = "\u00a0\u2009\u202f"  # no-break, thin, narrow no-break: what a copied table brings along
MINUSES = "\u2212\u2013"  # the true minus, and the dash that editors make of it

_SHAPE = re.compile(
    r"""(?P<sign>[+-]?)
        (?P<whole>\d{1,3}(?:[ ]\d{3})+|\d*)     # 1 234 567 in threes, or no spaces at all
        (?:[.,](?P<part>\d*))?
        (?:[eE](?P<exponent>[+-]?\d{1,4}))?""",
    re.VERBOSE | re.ASCII,
)


class UnreadableNumber(Refusal):
    """What was typed is not one number."""

    code = "page.E001"


class EnteredNumber(float):
    """A number that remembers how it was typed, so that records can keep the digits the person saw.

    Attributes
    ----------
    text : str
        As entered, without the blanks around it.
    decimals : int
        Digits after the decimal sign, less the exponent; what the last digit stands for is ``10**-decimals``.
    """

    text: str
    decimals: int

    def __new__(cls, value: float, text: str, decimals: int) -> "EnteredNumber":
        """Make the float and hang text and decimals on it."""
        number = super().__new__(cls, value)
        number.text = text
        number.decimals = decimals
        return number

    def __reduce__(self) -> tuple[type, tuple[float, str, int]]:
        """Copy and pickle whole, with the text."""
        return EnteredNumber, (float(self), self.text, self.decimals)


def read_number(text: str) -> EnteredNumber:
    """Read one decimal number with a point or a comma, or refuse with a sentence.

    Only the digits 0 to 9 count. Spaces may part thousands in threes (ISO 80000-1, 7.3.1); a comma is
    always the decimal sign. Nothing is rounded to zero or to infinity in silence.

    Raises
    ------
    UnreadableNumber
        With a message that shows what was typed and says what to type instead.
    """
    entered = text.strip()
    plain = _plainly(entered)
    shape = _SHAPE.fullmatch(plain)
    if shape is None or not (shape["whole"] or shape["part"]):
        raise UnreadableNumber(_reason(entered, plain))
    part, exponent = shape["part"] or "", shape["exponent"] or "0"
    value = float(plain.replace(" ", "").replace(",", "."))
    digits = (shape["whole"] + part).replace(" ", "")
    if isinf(value):
        raise UnreadableNumber(f"“{_short(entered)}” is larger than can be kept. Check the exponent.")
    if digits.strip("0") and abs(value) < SMALLEST_NORMAL:
        raise UnreadableNumber(
            f"“{_short(entered)}” is smaller than can be kept. Check the exponent, or enter 0."
        )
    return EnteredNumber(value, entered, len(part) - int(exponent))


def _plainly(entered: str) -> str:
    plain = entered
    for space in SPACES:
        plain = plain.replace(space, " ")
    return "-" + plain[1:].lstrip(" ") if plain[:1] in tuple(MINUSES) else plain


def _short(entered: str) -> str:
    return entered if len(entered) <= LONGEST else entered[: LONGEST - 1] + "…"


def _reason(entered: str, plain: str) -> str:
    """Say what kept ``entered`` from being one number, the most telling reason first."""
    shown = _short(entered)
    if not entered:
        return "Enter a number."
    if "_" in plain:
        return f"“{shown}” holds an underscore. Write the digits alone, as 1000 or 1 000."
    if re.fullmatch(r"[+-]?(inf(inity)?|nan)", plain, re.IGNORECASE):
        return f"“{shown}” is not a measured number. Enter digits, or leave the field empty."
    if foreign := next((c for c in plain if c.isdigit() and not c.isascii()), None):
        return f"“{shown}” holds “{foreign}”. Type the digits 0 to 9."
    if len(re.findall("[.,]", plain)) > 1:
        return (
            f"“{shown}” holds more than one point or comma. Keep the decimal sign alone, as 1234.5 or 1234,5."
        )
    if "%" in plain:
        return f"“{shown}” holds a percent sign. Enter the number alone; the unit stands beside the field."
    if re.fullmatch(r"[+-]?[\d .,]*\d[\d .,]*(e[+-]?\d+)?\s*[^\d\s.,+-].*", plain, re.IGNORECASE | re.ASCII):
        return (
            f"“{shown}” holds more than a number. Enter the number alone; the unit stands beside the field."
        )
    if re.fullmatch(r"[+-]?[\d ]+([.,][\d ]*)?", plain, re.ASCII):
        return f"“{shown}” holds a space inside the number. Spaces may only part thousands, as 12 000."
    return f"“{shown}” is not a number. Enter digits with a point or a comma, as 0.45 or 0,45."
