"""The numbers of a cell beside those of its uncycled twin and its sisters."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from teardown.cells.models import Cell
from teardown.dissection.dossier.controls import Compared, Controls, Spread, compared, controls_of
from teardown.page.typesetting import number
from teardown.review.dossier.measures import ShownMeasure, measures_of
from teardown.review.dossier.opened import Opened


@dataclass(frozen=True, slots=True)
class MeasureBeside:
    """One measure of sections: of this cell, of its twins, of its sisters."""

    measure: ShownMeasure
    twin: str
    sisters: str


@dataclass(frozen=True, slots=True)
class Beside:
    """All that is held against controls."""

    controls: Controls
    measures: tuple[MeasureBeside, ...]
    bench: tuple[Compared, ...]


def beside_controls(
    cell: Cell, opened: Opened | None, measures: tuple[ShownMeasure, ...], user: Any
) -> Beside | None:
    """Gather what stands beside each measure; None where the cell has no control that this person may see."""
    controls = controls_of(cell)
    seen = set(
        Cell.objects.visible_to(user)
        .filter(pk__in=[each.pk for each in (*controls.twins, *controls.sisters)])
        .values_list("pk", flat=True)
    )
    controls = Controls(
        tuple(each for each in controls.twins if each.pk in seen),
        tuple(each for each in controls.sisters if each.pk in seen),
    )
    if not (controls.twins or controls.sisters):
        return None
    found = measures_of([each.pk for each in (*controls.twins, *controls.sisters)]) if measures else {}
    rows = [
        MeasureBeside(
            measure, _spread(measure, controls.twins, found), _spread(measure, controls.sisters, found)
        )
        for measure in measures
    ]
    bench = compared(opened.dissection, controls) if opened else ()
    return Beside(controls, tuple(row for row in rows if row.twin or row.sisters), bench)


def _spread(measure: ShownMeasure, cells: Iterable[Cell], found: dict[int, dict[str, ShownMeasure]]) -> str:
    """Say the same quantity over some cells, in percent where the measure is a share."""
    same = [found[cell.pk][measure.quantity] for cell in cells if measure.quantity in found.get(cell.pk, {})]
    per = 100 if measure.percent else 1
    values = tuple(each.estimate.value * per for each in same)
    if not values:
        return ""
    unit = "%" if measure.percent else measure.estimate.unit
    if len(values) == 1:
        one = same[0].estimate
        return (
            f"{number(one.value * per)} ({number(one.low * per)} to {number(one.high * per)}) {unit}".strip()
        )
    return Spread(values, unit, figures=3).words
