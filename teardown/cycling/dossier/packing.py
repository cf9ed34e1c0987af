"""What a history, or those of many cells, holds, as tables that leave with their description."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from teardown.cells.models import Test
from teardown.cycling.dossier.overlay import Overlay
from teardown.cycling.models import TestSummary
from teardown.cycling.store import Columns
from teardown.formats.data_package import Field, Resource, Type
from teardown.science.electrochemistry.curves import VoltageCurves
from teardown.science.electrochemistry.summary import METRICS
from teardown.science.electrochemistry.table import CYCLE_COLUMNS

WHO = (
    Field("cell", "string", description="code of the cell"),
    Field("test", "integer", description="number of its test"),
)
WHOLE = frozenset(("cycle", "records", "rate_class"))
YES_OR_NO = frozenset(("complete", "check_up", "uncertain"))


def _type(name: str) -> Type:
    return "integer" if name in WHOLE else "boolean" if name in YES_OR_NO else "number"


def cycle_fields() -> tuple[Field, ...]:
    """Describe every per-cycle column with its unit and definition."""
    described = [
        Field(name, _type(name), "" if unit == "1" else unit, words)
        for name, (unit, words) in CYCLE_COLUMNS.items()
    ]
    return (*WHO, *described)


def cycles_table(histories: Sequence[tuple[Test, Columns]]) -> Resource:
    """Give every cycle of some tests, one a row; what an older run did not keep is empty."""

    def rows() -> Iterator[Sequence[Any]]:
        for test, columns in histories:
            n = len(columns["cycle"])
            cells = [columns[name].tolist() if name in columns else [None] * n for name in CYCLE_COLUMNS]
            for row in zip(*cells, strict=True):
                yield (test.cell.code, test.number, *row)

    return Resource("cycles", "Every cycle", cycle_fields(), rows(), ("cell", "test", "cycle"))


def metrics_table(summaries: Sequence[tuple[Test, TestSummary]]) -> Resource:
    """Give the per-test values with their intervals, one a row."""
    fields = (
        *WHO,
        Field("name", "string", description="which value"),
        Field("value"),
        Field("low", description="lower end of the 95 % interval"),
        Field("high", description="upper end of the 95 % interval"),
        Field("unit", "string"),
        Field("n", "integer", description="how many values it rests on"),
        Field("method", "string"),
        Field("definition", "string"),
    )

    def rows() -> Iterator[Sequence[Any]]:
        for test, summary in summaries:
            for name, (unit, definition) in METRICS.items():
                kept = summary.metrics.get(name)
                if kept is None:
                    continue
                found: Mapping[str, Any] = kept if isinstance(kept, dict) else {"value": kept}
                yield (
                    test.cell.code, test.number, name, found["value"], found.get("low"), found.get("high"),
                    "" if unit == "1" else unit, found.get("n"), found.get("method", ""), definition,
                )  # fmt: skip

    return Resource("metrics", "Values of each test", fields, rows(), ("cell", "test", "name"))


def tests_table(tests: Sequence[Test], recipe_of: Mapping[int, str]) -> Resource:
    """Give the tests, one a row: recipe, begin and end, and whether the end censors."""
    fields = (
        *WHO,
        Field("recipe", "string", description="code of the recipe"),
        Field("iron_mass", "number", "g", "iron built into the electrode"),
        Field("started", "datetime"),
        Field("ended", "datetime"),
        Field("end", "string", description="why it ended; empty while it runs"),
        Field("censored", "boolean", description="true where it was stopped before it failed"),
    )
    rows = [
        (
            t.cell.code, t.number, recipe_of.get(t.pk, ""), t.cell.iron_mass_g, t.started_at, t.ended_at,
            t.end.words if t.end else "", bool(t.end.data.get("censors")) if t.end else None,
        )
        for t in tests
    ]  # fmt: skip
    return Resource("tests", "Tests", fields, rows, ("cell", "test"))


def spread_table(shown: Overlay) -> Resource:
    """Give median and quartiles of each recipe along the axis that was asked for."""
    unit = {"cycle": "", "day": "d", "throughput": "Ah"}[shown.view.across]
    capacity = "Ah" if shown.view.per == "Ah" else "mAh/g"
    fields = (
        Field("recipe", "string", description="code of the recipe"),
        Field(shown.view.across, "number", unit, "place along the axis"),
        Field("lower_quartile", "number", capacity),
        Field("median", "number", capacity),
        Field("upper_quartile", "number", capacity),
        Field("cells", "integer", "", "cells that still ran there"),
    )
    rows = [
        (group.recipe.code, *row)
        for group in shown.groups
        for row in zip(
            *(getattr(group.spread, name).tolist() for name in ("x", "low", "middle", "high", "n")),
            strict=True,
        )
    ]
    return Resource("spread", "Median and quartiles of each recipe", fields, rows)


def voltage_table(kept: VoltageCurves, cycles: Sequence[int]) -> Resource:
    """Give the voltage curves of chosen cycles, one point a row."""
    fields = (
        Field("cycle", "integer"),
        Field("half", "string", description="charge or discharge"),
        Field("charge_Ah", "number", "Ah", "charge that had passed in this half"),
        Field("voltage_V", "number", "V"),
    )
    place = {int(cycle): k for k, cycle in enumerate(kept.cycle.tolist())}
    last = kept.voltage_V.shape[2] - 1
    rows = [
        (cycle, words, k / last * float(kept.charge_Ah[way, place[cycle]]), float(volts))
        for cycle in cycles
        for way, words in ((0, "charge"), (1, "discharge"))
        for k, volts in enumerate(kept.voltage_V[way, place[cycle]])
    ]
    return Resource("voltage", "Voltage of chosen cycles", fields, rows)
