"""Pure rules of what is built: which amounts make sense, and how words are folded to be found again."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

FRACTION_BASES = {
    "iron": "of the iron",
    "electrode": "of the dry electrode",
    "electrolyte": "in the electrolyte",
}


def fold(*texts: str) -> str:
    """Fold words so that a search finds them however typed: compatibility forms, no case, single spaces."""
    joined = " ".join(text for text in texts if text)
    return " ".join(unicodedata.normalize("NFKC", joined).casefold().split())


def faults_of_part(amount: float, unit: str, basis: str) -> list[str]:
    """Say what is wrong with an amount in a recipe, in whole sentences; an empty list if nothing is."""
    faults = []
    if amount < 0:
        faults.append(f"An amount is not below zero; this was {amount:g}.")
    if unit == "1" and amount > 1:
        faults.append(
            f"A mass fraction lies between 0 and 1; this was {amount:g}. Write 4 % as 0.04 or with its unit."
        )
    if unit == "1" and basis not in FRACTION_BASES:
        faults.append(f"Say what the fraction is a fraction of: {listed(FRACTION_BASES)}.")
    if unit == "mol/L" and basis != "electrolyte":
        faults.append("A concentration in mol/L is one in the electrolyte: give electrolyte as its basis.")
    return faults


def listed(words: Iterable[str]) -> str:
    """List words: "a, b or c"."""
    *first, last = list(words) or [""]
    return f"{', '.join(first)} or {last}" if first else last


def differences(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say in words what changes between two lists of parts (role, material, amount, unit, basis)."""

    def by(parts: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], str]:
        return {(str(part["role"]), str(part["material"])): amount_words(part) for part in parts}

    old, new = by(before), by(after)
    return [
        *(f"without {material}" for (role, material) in old if (role, material) not in new),
        *(f"with {key[1]}, {amount}" for key, amount in new.items() if key not in old),
        *(
            f"{key[1]}: {old[key]} becomes {amount}"
            for key, amount in new.items()
            if old.get(key, amount) != amount
        ),
    ]


def amount_words(part: Mapping[str, Any]) -> str:
    """Set an amount for a sentence: "4 % of the iron", "6 mol/L", "1.2 g"."""
    amount, unit = part["amount"], part["unit"]
    if unit == "1":
        return f"{amount * 100:.6g} % {FRACTION_BASES.get(part['basis'], '')}".rstrip()
    return f"{amount:.6g} {'cm²' if unit == 'cm2' else unit}"


CODE = re.compile(r"\w[\w.+-]{0,39}")


def fault_of_code(code: str) -> str:
    """Say what is wrong with a code, or nothing. Codes stand in addresses and on labels: they are plain."""
    if CODE.fullmatch(code):
        return ""
    return (
        f"“{code[:50]}” is no code: use letters, digits, “-”, “.”, “_” and “+”, at most 40, "
        "beginning with a letter or digit."
    )


def elements_of(formula: str) -> list[str]:
    """List the elements that a chemical formula names, each once, in its order: Bi2S3 gives Bi, S."""
    return list(dict.fromkeys(re.findall(r"[A-Z][a-z]?", formula)))


def in_order(name: str) -> list[tuple[int, str]]:
    """Give a key that sorts names as people count: 2 before 10."""
    return [(int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", name)]
