"""Reads a drop of many files: unfolds zips, finds each picture's sample and field in its name. Writes
nothing."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from django.core.files.base import File

from teardown.dissection.models import Sample
from teardown.files.intake import unfold as unfold_drop

PICTURES = (".tif", ".tiff", ".png", ".jpg", ".jpeg")
TEXTS = (".txt", ".hdr")
MOST_MEMBERS = 1000
MOST_BYTES = 8 * 2**30
LARGEST_TEXT = 200_000
TELLING_TEXT = 20_000


@dataclass(frozen=True, slots=True)
class Planned:
    """One picture of a drop: what it would be tied to."""

    picture: File[Any]
    name: str
    sample: Sample | None
    field_number: int | None
    sidecar: str = ""


def unfold(files: Sequence[File[Any]]) -> list[File[Any]]:
    """Give the files of a drop, with zips unfolded."""
    return unfold_drop(files, wanted=_wanted, most_members=MOST_MEMBERS, most_bytes=MOST_BYTES)


def _wanted(name: str) -> bool:
    path = PurePosixPath(name.replace("\\", "/"))
    return path.suffix.lower() in PICTURES + TEXTS and not path.name.startswith(".")


def plan(files: Sequence[File[Any]], *, sample: Sample | None = None) -> list[Planned]:
    """Plan a drop: each picture with the sample whose code stands in its name, else in the text beside it.

    One query, however many files.
    """
    pictures = [file for file in files if not str(file.name).lower().endswith(TEXTS)]
    texts = {_stem(str(file.name)): _text(file) for file in files if str(file.name).lower().endswith(TEXTS)}
    words = {
        str(file.name): _words(str(file.name)) + _words(texts.get(_stem(str(file.name)), "")[:TELLING_TEXT])
        for file in pictures
    }
    codes = {word for found in words.values() for word in found}
    known = {one.code.upper(): one for one in Sample.objects.filter(code__in=codes)} if sample is None else {}
    planned = []
    for file in pictures:
        name = str(file.name)
        found = sample or next((known[word] for word in words[name] if word in known), None)
        planned.append(Planned(file, name, found, field_number(name), texts.get(_stem(name), "")))
    return planned


def _words(name: str) -> list[str]:
    return [word for word in re.split(r"[^0-9A-Za-z]+", name.upper()) if len(word) >= 6]


def _stem(name: str) -> str:
    return str(PurePosixPath(name.replace("\\", "/")).with_suffix("")).lower()


def _text(file: File[Any]) -> str:
    file.seek(0)
    return bytes(file.read(LARGEST_TEXT)).decode("utf-8", "replace")


def field_number(name: str) -> int | None:
    """Find the number of a field in a file's name: "…_f03.tif", "… field 3.tif", or digits at its end.

    >>> field_number("S1_f03.tif"), field_number("S1 field 12.png"), field_number("S1_07.tif")
    (3, 12, 7)
    """
    stem = PurePosixPath(name).stem
    match = re.search(r"(?:^|[^a-z])f(?:ield)?[ _-]?(\d{1,3})(?!\d)", stem, re.IGNORECASE)
    match = match or re.search(r"[_ -](\d{1,3})$", stem)
    return int(match[1]) if match else None
