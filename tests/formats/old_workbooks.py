"""Workbooks of the old binary kind (BIFF8 in a compound file), written byte by byte for tests.

Sources: [MS-XLS] (records BOF 2.4.21, BoundSheet8 2.4.28, Number 2.4.180, Label, EOF 2.4.103) and [MS-CFB]
(header 2.2, directory entries 2.6); the numbers of records and offsets are from memory.
"""

import struct
from collections.abc import Sequence

SECTOR = 512
FREE, END, FAT = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD


def old_workbook(rows: Sequence[Sequence[str | float]], *, sheet: str = "Data") -> bytes:
    """Write one sheet of words and numbers."""
    return _compound(_stream(rows, sheet))


def _record(kind: int, body: bytes) -> bytes:
    return struct.pack("<HH", kind, len(body)) + body


def _begin(of: int) -> bytes:
    return _record(0x0809, struct.pack("<HHHHII", 0x0600, of, 0x0DBB, 0x07CC, 0, 6))


def _cell(row: int, column: int, value: str | float) -> bytes:
    head = struct.pack("<HHH", row, column, 0)
    if isinstance(value, str):
        words = value.encode("utf-16-le")
        return _record(0x0204, head + struct.pack("<HB", len(value), 1) + words)
    return _record(0x0203, head + struct.pack("<d", value))


def _stream(rows: Sequence[Sequence[str | float]], sheet: str) -> bytes:
    cells = b"".join(_cell(r, c, value) for r, row in enumerate(rows) for c, value in enumerate(row))
    body = _begin(0x0010) + cells + _record(0x000A, b"")
    name = sheet.encode("latin-1")
    page = _record(0x0042, struct.pack("<H", 1200))

    def entry(at: int) -> bytes:
        return _record(0x0085, struct.pack("<IBBBB", at, 0, 0, len(name), 0) + name)

    head = len(_begin(0x0005)) + len(page) + len(entry(0)) + 4
    whole = _begin(0x0005) + page + entry(head) + _record(0x000A, b"") + body
    return whole + bytes(max(0, 4096 - len(whole)))  # shorter ones would lie in the small-sector stream


def _entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
    words = (name + "\0").encode("utf-16-le") if name else b""
    return (
        words.ljust(64, b"\0")
        + struct.pack("<HBBIII", len(words), kind, 1, FREE, FREE, child)
        + bytes(36)
        + struct.pack("<IQ", start, size)
    )


def _compound(stream: bytes) -> bytes:
    sectors = -(-len(stream) // SECTOR)
    fats = 1
    while (sectors + 1 + fats) > fats * (SECTOR // 4):
        fats += 1
    assert fats <= 109, "larger files need a longer table"
    chain = [FAT] * fats + [END] + [fats + 1 + k + 1 for k in range(sectors - 1)] + [END]
    chain += [FREE] * (fats * (SECTOR // 4) - len(chain))
    head = (
        bytes.fromhex("D0CF11E0A1B11AE1")
        + bytes(16)
        + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, 9, 6)
        + bytes(6)
        + struct.pack("<IIIIIIIII", 0, fats, fats, 0, 4096, END, 0, END, 0)
        + struct.pack("<109I", *range(fats), *[FREE] * (109 - fats))
    )
    folder = _entry("Root Entry", 5, 1, END, 0) + _entry("Workbook", 2, FREE, fats + 1, len(stream))
    folder += _entry("", 0, FREE, 0, 0) * 2
    return head + struct.pack(f"<{len(chain)}I", *chain) + folder + stream.ljust(sectors * SECTOR, b"\0")
