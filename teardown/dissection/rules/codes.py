"""Sample codes: short, without meaning, with a check character, in letters that cannot be taken for digits.

The check character is that of ISO/IEC 7064, a hybrid system with two moduli, M + 1 and M. With M = 30
characters M + 1 = 31 is a prime, so every single wrong character is noticed, and nearly every swap of
neighbours.
"""

import secrets

ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # without 0, 1 and I, L, O, U
LENGTH = 7


class NotACode(ValueError):
    """The text is no sample code, or one of its characters was misread."""


def check_character(text: str, alphabet: str = ALPHABET) -> str:
    """Work out the check character of a text, by the hybrid system over this alphabet.

    References
    ----------
    ISO/IEC 7064, hybrid systems; with the alphabets of ten digits and of 36 letters and digits this gives
    the standard's own MOD 11,10 and MOD 37,36.
    """
    modulus = len(alphabet)
    running = modulus
    for character in text:
        running = (running + alphabet.index(character)) % modulus or modulus
        running = running * 2 % (modulus + 1)
    return alphabet[(1 - running) % modulus]


def with_check(body: str) -> str:
    """Add the check character to seven characters."""
    return body + check_character(body)


def make_code() -> str:
    """Make a new code by chance: 30**7 of them, so that nobody guesses meaning from it."""
    return with_check("".join(secrets.choice(ALPHABET) for _ in range(LENGTH)))


def read_code(text: str) -> str:
    """Read a code as scanned or typed: lower case, spaces and dashes do not matter.

    Raises
    ------
    NotACode
        If the length is wrong, a character is not used in codes, or the check character does not fit.
    """
    plain = "".join(text.split()).replace("-", "").upper()
    if len(plain) != LENGTH + 1:
        raise NotACode(f"“{text}” has {len(plain)} characters; a sample code has {LENGTH + 1}.")
    strange = sorted({character for character in plain if character not in ALPHABET})
    if strange:
        raise NotACode(f"“{text}” holds {', '.join(strange)}, which no sample code has. Read it again.")
    if check_character(plain[:-1]) != plain[-1]:
        raise NotACode(f"“{text}” was misread: its check character does not fit. Read it again.")
    return plain
