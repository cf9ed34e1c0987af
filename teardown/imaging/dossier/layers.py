"""Layers below the face in numbers: of one field, and over the fields of a sample."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from teardown.imaging.models import SectionResult
from teardown.science.estimate import Estimate


@dataclass(frozen=True, slots=True)
class LayerRow:
    """One layer: from and to as a share of the depth, and what it holds; shares, or estimates over fields.

    ``coverage`` is None where there is too little outline, ``steps`` where nobody counted it.
    """

    start: float
    end: float
    depth_um: float | None
    porosity: Any
    oxide: Any
    coverage: Any
    steps: int | None


@dataclass(frozen=True, slots=True)
class LayerTable:
    """The layers below one face."""

    title: str
    rows: tuple[LayerRow, ...]

    @property
    def scaled(self) -> bool:
        """Tell whether the depths are known in micrometres."""
        return any(row.depth_um is not None for row in self.rows)

    @property
    def outlined(self) -> bool:
        """Tell whether the metal outline was followed: not in results from before that was done."""
        return any(row.steps is not None for row in self.rows)


def tables_of(result: SectionResult) -> tuple[LayerTable, ...]:
    """Give the layers of a result below each face that was drawn."""
    profiles = [result.sums.get("profile") or [], *(result.sums.get("profiles") or [])]
    titles = ["Below the drawn face", *(f"Below face {number + 2}" for number in range(len(profiles) - 1))]
    return tuple(
        LayerTable(title, tuple(_row(layer) for layer in layers))
        for title, layers in zip(titles, profiles, strict=True)
        if layers
    )


def _row(layer: Mapping[str, Any]) -> LayerRow:
    return LayerRow(
        layer["start"],
        layer["end"],
        layer["depth_um"],
        layer["porosity"],
        layer["oxide_fraction"],
        layer.get("coverage"),
        layer.get("outline_steps"),
    )


def pooled_rows(layers: Sequence[Mapping[str, Any]]) -> tuple[LayerRow, ...]:
    """Give the layers over the fields of a sample, each share with its interval."""
    return tuple(
        LayerRow(
            layer["start"],
            layer["end"],
            None,
            Estimate(**layer["porosity"]),
            Estimate(**layer["oxide_fraction"]),
            Estimate(**layer["coverage"]) if layer.get("coverage") else None,
            layer.get("outline_steps"),
        )
        for layer in layers
    )
