"""Files of a cycler as faults of disks, copies and hands leave them; the same seed breaks a file alike."""

from collections.abc import Callable

import numpy as np

Broken = Callable[[np.random.Generator, bytes], bytes]
ODD = (b"1e308", b"-1e308", b"0", b"inf", b"-inf", b"99999999", b'""', b'"', b"1,2", b"\xff", b"nan", b"")


def flipped_bytes(rng: np.random.Generator, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 40))):
        out[int(rng.integers(len(out)))] = int(rng.integers(256))
    return bytes(out)


def cut_short(rng: np.random.Generator, data: bytes) -> bytes:
    return data[: int(rng.integers(1, len(data)))]


def shuffled_rows(rng: np.random.Generator, data: bytes) -> bytes:
    rows = data.split(b"\n")
    at = int(rng.integers(1, max(2, len(rows) - 50)))
    some = rows[at : at + 50]
    rng.shuffle(some)
    return b"\n".join([*rows[:at], *some, *rows[at + 50 :]])


def one_column_overwritten(rng: np.random.Generator, data: bytes) -> bytes:
    rows, place = data.split(b"\n"), int(rng.integers(0, 5))
    value = ODD[int(rng.integers(len(ODD)))]
    out = [rows[0]]
    for row in rows[1:]:
        cells = row.split(b",")
        if place < len(cells):
            cells[place] = value
        out.append(b",".join(cells))
    return b"\n".join(out)


def a_handful_of_rows(rng: np.random.Generator, data: bytes) -> bytes:
    rows = data.split(b"\n")
    at = int(rng.integers(1, max(2, len(rows) - 20)))
    return b"\n".join([rows[0], *rows[at : at + int(rng.integers(1, 12))]])


def odd_cells(rng: np.random.Generator, data: bytes) -> bytes:
    rows = data.split(b"\n")
    for _ in range(int(rng.integers(1, 30))):
        at = min(int(rng.integers(1, max(2, len(rows)))), len(rows) - 1)
        cells = rows[at].split(b",")
        cells[int(rng.integers(len(cells)))] = ODD[int(rng.integers(len(ODD)))]
        rows[at] = b",".join(cells)
    return b"\n".join(rows)


def upside_down(rng: np.random.Generator, data: bytes) -> bytes:
    del rng
    rows = data.split(b"\n")
    return b"\n".join([rows[0], *rows[:0:-1]])


def header_again(rng: np.random.Generator, data: bytes) -> bytes:
    rows = data.split(b"\n")
    return b"\n".join([*rows[: int(rng.integers(1, 4))], *rows])


BREAKS: tuple[Broken, ...] = (
    flipped_bytes,
    cut_short,
    shuffled_rows,
    one_column_overwritten,
    a_handful_of_rows,
    odd_cells,
    upside_down,
    header_again,
)


def broken(seed: int, data: bytes) -> bytes:
    """Break a file in one of these ways."""
    rng = np.random.default_rng(seed)
    return data if len(data) < 50 else BREAKS[int(rng.integers(len(BREAKS)))](rng, data)
