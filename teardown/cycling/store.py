"""What is kept of a history beside the database: packed columns, voltage curves, the series itself."""

import io
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
from django.core.files.base import ContentFile
from numpy.typing import NDArray

from teardown.cycling.models import Curves
from teardown.files.store import derived
from teardown.science.electrochemistry.curves import VoltageCurves

Columns = Mapping[str, NDArray[np.float64]]


def unpack(curves: Curves) -> Columns:
    """Read the packed per-cycle columns: one after the other, float32, little endian."""
    values = np.frombuffer(bytes(curves.blob), dtype="<f4").reshape(len(curves.columns), curves.n)
    return {name: values[k].astype(np.float64) for k, name in enumerate(curves.columns)}


def series_path(test: int, key: str) -> str:
    """Name the kept series of a test, made by the run with this key."""
    return f"series/{test}/{key[:16]}.parquet"


def curves_path(test: int, key: str) -> str:
    """Name the kept voltage curves of a test, made by the run with this key."""
    return f"series/{test}/{key[:16]}.npz"


def keep_curves(test: int, key: str, curves: VoltageCurves) -> None:
    """Keep the voltage curves of a test as compressed arrays."""
    out = io.BytesIO()
    arrays: dict[str, Any] = {f.name: getattr(curves, f.name) for f in fields(curves)}
    np.savez_compressed(out, **arrays)
    derived().save(curves_path(test, key), ContentFile(out.getvalue()))


def read_curves(test: int, key: str) -> VoltageCurves | None:
    """Read the voltage curves of a test; None where they must be made again."""
    try:
        with derived().open(curves_path(test, key)) as file, np.load(io.BytesIO(file.read())) as kept:
            return VoltageCurves(**{f.name: kept[f.name] for f in fields(VoltageCurves)})
    except (FileNotFoundError, OSError, KeyError, ValueError):
        return None
