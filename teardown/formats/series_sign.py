"""The sign of the current in a file: from the voltage, the map, the words of a step, or the counters."""

import re
import unicodedata

import numpy as np
import polars as pl
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.sign import CLEAR_VOTE, jump_vote, slope_vote
from teardown.science.electrochemistry.steps import rest_threshold_A
from teardown.science.errors import Remark

CLEAR_JUMP = 0.9
AS_IT_IS = "Nothing needs to be done; state the sign in the column map if this is wrong."
_REST = re.compile(r"rest|rust|paus|ruhe|ocv|idle|descanso|repos|ripos|relax|wait|warte|halt|open")
_DOWN = re.compile(r"dis|dch|entl|ontl|dech|desc|scar|^d$|^-1?$|dchg")
_UP = re.compile(r"ch|lad|laad|carg|caric|^c$|^\+1?$|chg")


def direction_of(word: str) -> int:
    """Give +1, 0 or -1 for the words of a step, 2 where they tell nothing."""
    low = unicodedata.normalize("NFKD", word).encode("ascii", "ignore").decode().strip().lower()
    if not low or _REST.search(low):
        return 0
    if _DOWN.search(low):
        return -1
    return 1 if _UP.search(low) else 2


def settle_sign(
    time_s: Array,
    current_A: Array,
    voltage_V: Array,
    *,
    claimed: str,
    words: pl.Series | None,
    counters: dict[str, Array],
) -> tuple[Array, list[Remark]]:
    """Turn the current so that charge is positive, or say why that cannot be done.

    Parameters
    ----------
    time_s, current_A, voltage_V : ndarray of float, shape (records,)
        Current as the file writes it.
    claimed : "auto", "1" or "-1"
        What the map says: 1 where positive charges already.
    words : polars Series of text or None
        The step type of each record.
    counters : dict of str to ndarray
        Charge counters, if any.

    Returns
    -------
    ndarray, list of Remark
    """
    threshold = rest_threshold_A(current_A)
    if not np.any(np.abs(current_A) > threshold):
        return current_A, [
            Remark(
                "NO_CURRENT",
                "error",
                "No current flows in the whole file.",
                0.0,
                "current column",
                "Map the right column as current.",
            )
        ]
    one_sided = not (np.any(current_A > threshold) and np.any(current_A < -threshold))
    vote = slope_vote(time_s, current_A, voltage_V)
    if one_sided and abs(vote) < 0.9:
        return _unsigned(time_s, current_A, voltage_V, words, counters)
    if claimed in ("1", "-1"):
        return _as_claimed(current_A, vote, int(claimed))
    # where the voltage falls through a long charge, as hydrogen comes, its jumps at the switches know better
    contradicted = abs(vote) < 0.9 and jump_vote(time_s, current_A, voltage_V) * np.sign(vote) < -CLEAR_JUMP
    if abs(vote) <= CLEAR_VOTE or contradicted:
        return _from_elsewhere(time_s, current_A, voltage_V, words, counters, vote)
    current, said = (current_A, []) if vote > 0 else (-current_A, [_flipped(vote)])
    return current, [*said, *_against_words(current, words, threshold)]


def _flipped(vote: float) -> Remark:
    text = f"Positive current discharges in this file (vote {_signed(vote)}); it was turned."
    return Remark("SIGN_FLIPPED", "info", text, vote, "current column", AS_IT_IS)


def _against_words(current_A: Array, words: pl.Series | None, threshold: float) -> list[Remark]:
    """Say so where the step type names the other direction than the voltage shows."""
    share = _agreement(current_A, _directions(words), threshold)
    if share > -CLEAR_JUMP:
        return []
    text = "The step type names charge where the voltage shows a discharge, and the other way round."
    remedy = "The voltage was believed. Check that it is that of the whole cell, and which column was mapped."
    return [Remark("STEP_TYPE_DISAGREES", "warning", text, share, "step type column", remedy)]


def _signed(vote: float) -> str:
    return f"{vote:+.2f}".replace("-", "−")


def _from_elsewhere(
    time_s: Array,
    current_A: Array,
    voltage_V: Array,
    words: pl.Series | None,
    counters: dict[str, Array],
    vote: float,
) -> tuple[Array, list[Remark]]:
    """Take the sign from jumps, step types or counters where the slopes say nothing clear."""
    threshold = rest_threshold_A(current_A)
    for code, source, share in (
        ("SIGN_FROM_JUMPS", "jumps of the voltage", jump_vote(time_s, current_A, voltage_V)),
        ("SIGN_FROM_STEP_TYPE", "step type", _agreement(current_A, _directions(words), threshold)),
        ("SIGN_FROM_COUNTER", "charge counters", _agreement(current_A, _counted(counters), threshold)),
    ):
        if abs(share) > CLEAR_JUMP:
            said = (
                f"The slopes say nothing of the sign (vote {_signed(vote)}); it was taken from the {source}."
            )
            return current_A * np.sign(share), [Remark(code, "info", said, share, "current column", AS_IT_IS)]
    text = f"Whether positive current charges cannot be told from the voltage (vote {_signed(vote)})."
    remedy = "State the sign of the current in the column map: 1 or -1."
    return current_A, [Remark("SIGN_UNCLEAR", "error", text, vote, "current column", remedy)]


def _as_claimed(current_A: Array, vote: float, claimed: int) -> tuple[Array, list[Remark]]:
    if vote * claimed < -CLEAR_VOTE:
        way = "charge" if claimed > 0 else "discharge"
        text = f"By map or header positive is {way}; the voltage moves the other way (vote {_signed(vote)})."
        return current_A, [
            Remark(
                "CURRENT_SIGN", "error", text, vote, "current column", "Correct the sign in the column map."
            )
        ]
    return current_A * claimed, []


def _directions(words: pl.Series | None) -> Array | None:
    """Give the direction that each record's step type names."""
    if words is None:
        return None
    known = {word: float(direction_of(str(word))) for word in words.unique().to_list() if word is not None}
    if {"1", "-1"} <= known.keys() <= {"1", "-1", "0", ""}:
        known["1"] = 1.0
    told: Array = words.replace_strict(known, default=2.0, return_dtype=pl.Float64).to_numpy()
    return told


def _counted(counters: dict[str, Array]) -> Array | None:
    """Give the direction in which the counters move at each record."""
    for scope in ("", "cycle_", "step_", "schedule_"):
        up, down = (counters.get(f"{scope}{way}_capacity_ah") for way in ("charging", "discharging"))
        if up is not None and down is not None:
            gains = [np.concatenate(([0.0], np.diff(np.abs(c)))) for c in (up, down)]
            moving: Array = np.sign(np.maximum(gains[0], 0) - np.maximum(gains[1], 0))
            return moving
    return None


def _agreement(current_A: Array, direction: Array | None, threshold: float) -> float:
    """Give how far current and direction agree: +1 always, -1 never, 0 if nothing is known."""
    if direction is None:
        return 0.0
    told = (np.abs(current_A) > threshold) & (np.abs(direction) == 1)
    if np.sum(told) < 0.2 * np.sum(np.abs(current_A) > threshold):
        return 0.0
    return float(np.mean(np.sign(current_A[told]) * direction[told]))


def _unsigned(
    time_s: Array, current_A: Array, voltage_V: Array, words: pl.Series | None, counters: dict[str, Array]
) -> tuple[Array, list[Remark]]:
    """Give a current that never changes its sign a direction, from the step type or from the counters."""
    flowing = np.abs(current_A) > rest_threshold_A(current_A)
    for direction, code, source in (
        (_directions(words), "SIGN_FROM_STEP_TYPE", "step type"),
        (_spread(_counted(counters), flowing), "SIGN_FROM_COUNTER", "charge counters"),
    ):
        if direction is None or np.mean(np.abs(direction[flowing]) == 1) < 0.999:
            continue
        turned = np.abs(current_A) * np.where(np.abs(direction) == 1, direction, 0.0)
        vote = slope_vote(time_s, turned, voltage_V)
        if vote > CLEAR_VOTE:
            text = (
                f"The current has no sign; its direction was taken from the {source} (vote {_signed(vote)})."
            )
            return turned, [Remark(code, "info", text, vote, "current column", AS_IT_IS)]
        if vote < -CLEAR_VOTE:
            text = f"The {source} gives a direction that the voltage contradicts (vote {_signed(vote)})."
            return current_A, [
                Remark("CURRENT_SIGN", "error", text, vote, source, "Map the right column as step type.")
            ]
    text = (
        "The current never changes its sign, the voltage goes both ways, and no column tells its direction."
    )
    return current_A, [
        Remark(
            "CURRENT_UNSIGNED",
            "error",
            text,
            0.0,
            "current column",
            "Map a column with the step type (charge, discharge), or charge and discharge counters.",
        )
    ]


def _spread(direction: Array | None, flowing: NDArray[np.bool_]) -> Array | None:
    """Give records at which no counter moved the direction of the record after, then of the one before."""
    if direction is None:
        return None
    told = np.flatnonzero(direction != 0)
    if not told.size:
        return None
    place = np.clip(np.searchsorted(told, np.arange(direction.size)), 0, told.size - 1)
    return np.where(flowing, direction[told[place]], 0.0)
