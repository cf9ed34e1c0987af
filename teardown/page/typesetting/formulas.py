"""Chemical formulas as they are set, alone and within a sentence."""

import re

from django.utils.html import conditional_escape, format_html_join
from django.utils.safestring import SafeString, mark_safe

from teardown.page.typesetting.numbers import MINUS

_ELEMENTS = frozenset(
    {
        "H", "He", "Li", "Be", "B", "C", "N", "O", "F", "Ne", "Na", "Mg", "Al", "Si", "P", "S", "Cl", "Ar",
        "K", "Ca", "Sc", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu", "Zn", "Ga", "Ge", "As", "Se", "Br",
        "Kr", "Rb", "Sr", "Y", "Zr", "Nb", "Mo", "Tc", "Ru", "Rh", "Pd", "Ag", "Cd", "In", "Sn", "Sb", "Te",
        "I", "Xe", "Cs", "Ba", "La", "Ce", "Pr", "Nd", "Sm", "Eu", "Gd", "Tb", "Dy", "Ho", "Er", "Tm", "Yb",
        "Lu", "Hf", "Ta", "W", "Re", "Os", "Ir", "Pt", "Au", "Hg", "Tl", "Pb", "Bi", "Th", "U",
    }
)  # fmt: skip
_SMALL_MOLECULES = frozenset({"H2", "O2", "N2", "O3", "S8", "Cl2"})
_CANDIDATE = re.compile(
    r"(?<![\w.-])[A-Z(][A-Za-z0-9()]*(?:[·*]\d*(?:\.\d+)?[A-Z][A-Za-z0-9()]*)?(?:\^\d?[+-])?(?![\w-])"
)
_PIECE = re.compile(
    r"\^(?P<charge>\d?[+-])|(?P<water>[·*])(?P<times>\d*(?:\.\d+)?)|(?P<number>(?<=[A-Za-z)])\d+)|(?P<rest>.)"
)


def formula(text: str) -> SafeString:
    """Set a formula: Bi2S3 with its subscripts, K2CO3·1.5H2O with its water, SO4^2- with its charge."""
    pieces = []
    for piece in _PIECE.finditer(text):
        if piece["charge"]:
            pieces.append(("<sup>", piece["charge"].replace("-", MINUS), "</sup>"))
        elif piece["water"]:
            pieces.append(("", "·" + piece["times"], ""))
        elif piece["number"]:
            pieces.append(("<sub>", piece["number"], "</sub>"))
        else:
            pieces.append(("", piece["rest"], ""))
    return format_html_join("", "{}{}{}", ((mark_safe(a), t, mark_safe(b)) for a, t, b in pieces))  # noqa: S308 - a and b are the tags above


def chemistry(text: str) -> SafeString:
    """Set the formulas within a sentence and leave every other word alone; anything else is escaped."""
    parts, end = [], 0
    for match in _CANDIDATE.finditer(text):
        if _is_formula(match[0]):
            parts += [conditional_escape(text[end : match.start()]), formula(match[0])]
            end = match.end()
    return mark_safe("".join([*parts, conditional_escape(text[end:])]))  # noqa: S308 - every part was escaped


def _is_formula(word: str) -> bool:
    bare = re.sub(r"\^\d?[+-]$", "", word)
    symbols = re.findall(r"[A-Z][a-z]?", bare)
    if (
        not symbols
        or any(s not in _ELEMENTS for s in symbols)
        or re.search(r"[a-z]", re.sub(r"[A-Z][a-z]?", "", bare))
    ):
        return False
    if bare.count("(") != bare.count(")"):
        return False
    return (
        bare in _SMALL_MOLECULES
        or (len(symbols) > 1 and bool(re.search(r"[A-Za-z)]\d", bare)))
        or bare != word
    )
