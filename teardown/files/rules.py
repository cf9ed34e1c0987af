"""Pure rules of files: ranges of bytes, names as text, words for what runs."""

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any, BinaryIO

PIECE = 2**18
MOST_TOGETHER = 12  # settings of one name that are shown among the others
RASTER = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg", b"RIFF": "image/webp"}
FUNCTIONS = {
    "cycling.summarise": "summary of a cycling history",
    "imaging.section": "measuring of a section",
    "imaging.rescale": "giving of another scale to a section",
    "imaging.sample": "pooling of the fields of a sample",
    "imaging.electrode": "pooling of the samples of an electrode",
    "imaging.train": "learning of classes from strokes",
    "diffraction.fit": "fit of a pattern",
    "diffraction.calibrate": "calibration of a diffractometer",
    "diffraction.external": "reading of an external refinement",
    "findings.balance": "balance of a cell",
}
DELIVERIES = {
    "cells.recipes": "recipes",
    "cells.cells": "cells",
    "cycling.series": "a cycling history",
    "imaging.micrographs": "micrographs",
    "dissection.findings": "older dissections",
    "dissection.photographs": "older photographs",
}


class Unsatisfiable(Exception):
    """The range begins beyond the end of the file."""


def byte_range(header: str, size: int) -> tuple[int, int] | None:
    """Read a Range header; give first and last byte, or None where the whole file is the answer.

    Single ranges of bytes alone are honoured; anything else is ignored, as RFC 9110, 14.2 allows.

    Raises
    ------
    Unsatisfiable
        If it begins at or beyond the end (RFC 9110, 15.5.17).
    """
    match = re.fullmatch(r"bytes=(\d{0,18})-(\d{0,18})", header.strip())
    if match is None or match[1] == match[2] == "":
        return None
    if match[1] == "":
        length = int(match[2])
        if length == 0 or size == 0:
            raise Unsatisfiable
        return max(0, size - length), size - 1
    first = int(match[1])
    last = int(match[2]) if match[2] else size - 1
    if last < first and match[2]:
        return None
    if first >= size:
        raise Unsatisfiable
    return first, min(last, size - 1)


class Part:
    """A part of an open file, piece by piece; whoever sends it closes it, read or not."""

    def __init__(self, file: BinaryIO, first: int, length: int) -> None:
        """Go to its first byte."""
        self.file, self.left = file, length
        file.seek(first)

    def __iter__(self) -> Iterator[bytes]:
        """Give the pieces."""
        while self.left > 0 and (piece := self.file.read(min(PIECE, self.left))):
            self.left -= len(piece)
            yield piece
        self.close()

    def close(self) -> None:
        """Let the file go."""
        self.file.close()


def plain_name(name: str) -> str:
    """Give a name that is only a name: no folders, no control or direction marks; never empty."""
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join(c for c in unicodedata.normalize("NFC", last) if unicodedata.category(c)[0] != "C")
    return kept.strip(". ")[:200] or "file"


def raster_kind(head: bytes) -> str:
    """Tell which raster image begins like this, if any that may be shown within a page."""
    kind = next((kind for start, kind in RASTER.items() if head.startswith(start)), "")
    return "" if kind == "image/webp" and head[8:12] != b"WEBP" else kind


def spelled_out(settings: Mapping[str, Any]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Give settings as groups of rows, name and value: nested names are joined, values are exact.

    The first group has no name; what holds many values makes a group of its own.
    """
    groups: dict[str, list[tuple[str, str]]] = {"": []}
    for name, value in settings.items():
        rows = _rows({name: value})
        groups.setdefault(name if len(rows) > MOST_TOGETHER else "", []).extend(rows)
    return [(name, rows) for name, rows in groups.items() if rows]


def _rows(settings: Mapping[str, Any], above: str = "") -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for name, value in settings.items():
        path = f"{above}{name}"
        found += _rows(value, f"{path} › ") if isinstance(value, Mapping) else [(path, value_text(value))]
    return found


def value_text(value: Any) -> str:
    """Give a setting's value as a person reads it, to the last digit."""
    if value is None or value == []:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list) and not any(isinstance(one, list | dict) for one in value):
        return ", ".join(value_text(one) for one in value)
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
