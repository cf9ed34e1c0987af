"""Stored cycling files to stored numbers, with their run: reached by name, in the worker."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from math import isfinite
from typing import Any

import numpy as np
from django.core.files.base import ContentFile
from django.db import models

from teardown.cells.models import Test
from teardown.cycling.models import Curves, CyclingFile, TestSummary
from teardown.cycling.store import keep_curves, series_path
from teardown.files.models import Run, StoredFile
from teardown.files.store import derived, read
from teardown.formats.series import read_series
from teardown.formats.series_write import write_parquet
from teardown.science.electrochemistry.columns import Series
from teardown.science.electrochemistry.curves import voltage_curves
from teardown.science.electrochemistry.joining import join
from teardown.science.electrochemistry.summary import ChannelAccuracy, CyclingSummary
from teardown.science.electrochemistry.summary import summarise as compute
from teardown.science.electrochemistry.table import CYCLE_COLUMNS, CycleTable
from teardown.science.errors import ReadingError, Remark
from teardown.science.estimate import Estimate


class NoLongerReads(ReadingError):
    """A file that was imported cannot be read any more as it was."""

    code = "cycling.E001"
    hint = "Look at the import, and have it read with another column map."


class OriginalMissing(ReadingError):
    """The bytes of an imported file are gone."""

    code = "cycling.E002"
    hint = "Bring the store of originals back from a backup; verify_files lists what is missing."


def summarise(run: Run, beat: Callable[[float, str], None]) -> list[models.Model]:
    """Read every file of a test, join them, and give curves and summary.

    A run that was overtaken by a newer import gives nothing.

    A file that has grown is read whole again, not from its last open cycle on. What counts as rest, as a gap,
    as a pulse and as a spike, the digits and the sign of the current, and the peak are taken from all of the
    history: more rows may move any of them, and a sum kept from before would then differ from that of a fresh
    import of the same bytes. A million rows take about a second.
    """
    test = Test.objects.get(pk=int(run.subject.rsplit(":", 1)[1]))
    latest = CyclingFile.objects.filter(test=test).order_by("-pk").values_list("pk", flat=True).first()
    if run.settings["as_of"] != latest:
        return []
    files = {int(i.role.split(":")[1]): i.file for i in run.inputs.select_related("file") if i.file}
    if not files:
        return _nothing(test, run)
    maps = dict(CyclingFile.objects.filter(pk__in=files).values_list("pk", "column_map"))
    parts = []
    for number, pk in enumerate(sorted(files)):
        beat(0.7 * number / len(files), f"reading file {number + 1} of {len(files)}")
        parts.append(_series(_original(files[pk]), maps[pk]))
    series, joined = join(parts)
    beat(0.75, "computing cycles")
    summary = compute(series, **settings_of(run.settings))
    beat(0.9, "keeping the series")
    derived().save(series_path(test.pk, run.key), ContentFile(write_parquet(series)))
    keep_curves(test.pk, run.key, voltage_curves(series, summary.cycles))
    return [pack(test, run, summary.cycles), _summary(test, run, summary, joined)]


def settings_of(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Turn the settings of a run into arguments."""
    channel = kept.get("channel")
    return {
        "iron_mass_g": kept.get("iron_mass_g"),
        "iron_purity": kept.get("iron_purity", 1.0),
        "end": kept.get("end"),
        "opens": kept.get("opens", "charge"),
        "channel": ChannelAccuracy(**channel) if channel else None,
    }


def _original(stored: StoredFile) -> bytes:
    try:
        return read(stored)
    except FileNotFoundError:
        raise OriginalMissing(
            f"The original with the digest {stored.sha256[:12]}… is not in the store."
        ) from None


def _series(data: bytes, column_map: Mapping[str, Any]) -> Series:
    found = read_series(data, name="", column_map=dict(column_map))
    if found.arrays is None:
        raise NoLongerReads(" ".join(r.message for r in found.errors))
    return found.arrays


def _nothing(test: Test, run: Run) -> list[models.Model]:
    """Say that a test has no cycling file any more."""
    curves = Curves.objects.filter(test=test).first() or Curves(test=test)
    curves.run, curves.n, curves.columns, curves.blob = run, 0, list(CYCLE_COLUMNS), b""
    return [curves, TestSummary(test=test, run=run, status="no cycling file", n_cycles=0, n_complete=0)]


def pack(test: Test, run: Run, cycles: CycleTable) -> Curves:
    """Pack per-cycle values: one column after the other, float32, little endian."""
    curves = Curves.objects.filter(test=test).first() or Curves(test=test)
    names = list(CYCLE_COLUMNS)
    curves.run, curves.n, curves.columns = run, len(cycles), names
    curves.blob = np.stack([cycles[name] for name in names]).astype("<f4").tobytes()
    return curves


def _summary(test: Test, run: Run, summary: CyclingSummary, joined: list[Remark]) -> TestSummary:
    """Put a summary into columns that can be asked for."""
    value = summary.value
    fade, knee, loss = (summary.metrics.get(n) for n in ("fade_per_cycle", "knee_cycle", "loss_Ah"))
    reference = summary.metrics.get("q_ref_Ah")
    return TestSummary(
        test=test,
        run=run,
        status=summary.status,
        n_cycles=len(summary.cycles),
        n_complete=int(value("complete_cycles") or 0),
        q_ref_Ah=value("q_ref_Ah"),
        q_ref_u_Ah=reference.half_width / 1.96 if isinstance(reference, Estimate) else None,
        q_ref_cycle=value("q_ref_cycle"),
        q_first_Ah=value("q_first_Ah"),
        q_last_Ah=value("q_last_Ah"),
        q_last_first_plateau_Ah=value("first_plateau_last_Ah"),
        q_ref_first_plateau_Ah=value("first_plateau_ref_Ah"),
        retention=value("retention"),
        utilisation_2e=value("utilisation_2e"),
        fade_per_cycle=value("fade_per_cycle"),
        fade_low=fade.low if isinstance(fade, Estimate) else None,
        fade_high=fade.high if isinstance(fade, Estimate) else None,
        cycles_to_80=value("cycles_to_80"),
        knee_cycle=value("knee_cycle"),
        knee_low=knee.low if isinstance(knee, Estimate) else None,
        knee_high=knee.high if isinstance(knee, Estimate) else None,
        coulombic_efficiency=value("coulombic_efficiency"),
        energy_efficiency=value("energy_efficiency"),
        charge_total_Ah=value("charge_Ah"),
        discharge_total_Ah=value("throughput_Ah"),
        net_u_Ah=loss.half_width / 1.96 if isinstance(loss, Estimate) else None,
        duration_h=value("duration_h"),
        rate_h=value("rate_h"),
        q_since_full_charge_Ah=value("since_full_charge_Ah"),
        metrics={name: as_data(metric) for name, metric in summary.metrics.items()},
        problems=[asdict(r) for r in (*joined, *summary.remarks)],
    )


def as_data(metric: Estimate | float | None) -> dict[str, Any] | float | None:
    """Give a metric as plain data for JSON."""
    if isinstance(metric, Estimate):
        return metric.as_dict()
    return None if metric is None or not isfinite(metric) else float(metric)
