"""Calm greys of pictures, kept for a while: whoever pins levels measures the same pictures again soon."""

import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings

from teardown.files.store import derived
from teardown.science.stereology.evening import Calmed
from teardown.science.stereology.light import Light
from teardown.science.stereology.noise import Grey
from teardown.science.stereology.settings import VERSION
from teardown.science.stereology.shading import Gain

FOLDER, PART = "calm", ".part"
# one picture may take this share of the room for all; what was begun this long ago is no longer being written
LARGEST_SHARE, FORSAKEN_S = 0.25, 24 * 3600


class CalmShelf:
    """The place of one picture's calm greys: a file of floats, and one that tells what they rest on.

    Losing them loses nothing. The second file is put in place last, so that what lacks it does not count.
    When all together outgrow ``CALM_GREYS_BYTES``, those that were not asked for the longest go.
    """

    def __init__(
        self, digest: str, *, page: int = 0, asked: Mapping[str, Any], folder: Path | None = None
    ) -> None:
        """Name the place by all that the greys depend on: file, page, what was drawn, settings, version."""
        depends = [digest, page, asked.get("regions"), asked.get("settings"), VERSION]
        name = hashlib.sha256(json.dumps(depends, sort_keys=True).encode()).hexdigest()
        self._greys = (folder or Path(derived().path(FOLDER))) / f"{name}.npy"
        self._about = self._greys.with_suffix(".json")
        self._part: Path | None = None

    def find(self) -> Calmed | None:
        """Give what lies there; None where nothing whole does."""
        try:
            about = json.loads(self._about.read_bytes())
            greys = np.load(self._greys, mmap_mode="r", allow_pickle=False)
            os.utime(self._about)
        except (OSError, ValueError):
            return None
        if _sum_of(greys) != about["sum"]:
            return None
        gain = Gain(tuple(about["gain"]))
        return Calmed(greys, Light(about["counts"], about["white"], about["black"]), about["noise"], gain)

    def room(self, shape: tuple[int, int]) -> Grey | None:
        """Give a mapped file to be written; None where it would take too much of the disk."""
        size = 4 * shape[0] * shape[1]
        self._greys.parent.mkdir(parents=True, exist_ok=True)
        if size > min(
            LARGEST_SHARE * settings.CALM_GREYS_BYTES, shutil.disk_usage(self._greys.parent).free / 10
        ):
            return None
        handle, name = tempfile.mkstemp(suffix=PART, dir=self._greys.parent)
        os.close(handle)
        self._part = Path(name)
        return np.lib.format.open_memmap(name, mode="w+", dtype=np.float32, shape=shape)

    def keep(self, calmed: Calmed) -> None:
        """Put the written greys in place, and make room."""
        if self._part is None:
            return
        counts, white, black = calmed.light.counted
        about = {
            "noise": calmed.noise,
            "gain": list(calmed.gain.coefficients),
            "counts": counts,
            "white": white,
            "black": black,
            "sum": _sum_of(calmed.greys),
        }
        self._about.unlink(missing_ok=True)
        self._part.replace(self._greys)
        self._part.write_text(json.dumps(about))
        self._part.replace(self._about)
        self._part = None
        make_room(self._greys.parent, settings.CALM_GREYS_BYTES)

    def close(self) -> None:
        """Take away what was begun and will not be finished."""
        if self._part is not None:
            self._part.unlink(missing_ok=True)


def _sum_of(greys: Grey) -> int:
    """Add up all floats as whole numbers: a file that a power cut left unfinished shows by it."""
    return int(np.ascontiguousarray(greys).view(np.uint32).sum(dtype=np.uint64))


def make_room(folder: Path, most_bytes: int) -> None:
    """Take away what was not asked for the longest, until the rest is small enough; and what was forsaken."""
    for part in folder.glob(f"*{PART}"):
        if _asked_at(part) < time.time() - FORSAKEN_S:
            part.unlink(missing_ok=True)
    newest_first = sorted(folder.glob("*.json"), key=_asked_at, reverse=True)
    whole = 0
    for about in newest_first:
        greys = about.with_suffix(".npy")
        whole += greys.stat().st_size if greys.exists() else 0
        if whole > most_bytes:
            about.unlink(missing_ok=True)
            greys.unlink(missing_ok=True)


def _asked_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except FileNotFoundError:
        return 0.0
