"""From a stored pattern, or a stored result of someone else, to the fractions in the books."""

import datetime as dt
import io
from collections.abc import Callable, Iterable
from dataclasses import asdict
from math import sqrt
from typing import Any

import numpy as np
from django.db import models
from django.db.models import Q

from teardown.diffraction.models import Calibration, Fit, Pattern, PhaseFraction
from teardown.diffraction.rules import NEEDS, out_of_recipe
from teardown.diffraction.runs import elements_of
from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.files.store import read
from teardown.formats.phase_fractions import ExternalFractions, FractionRow, read_fractions
from teardown.formats.powder import read_pattern
from teardown.science.crystallography.calibration import instrument_profile
from teardown.science.crystallography.document import as_document, remark_as_data
from teardown.science.crystallography.fit import PatternFit, fit_pattern
from teardown.science.crystallography.fractions import honest
from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phases import phase_table
from teardown.science.crystallography.radiation import Radiation, radiation
from teardown.science.crystallography.remarks.specimen import of_surface
from teardown.science.crystallography.settings import Settings
from teardown.science.errors import Remark

Beat = Callable[[float, str], None]


def fit(run: Run, beat: Beat) -> Iterable[models.Model]:
    """Fit the phases of a run to its pattern."""
    pattern = Pattern.objects.get(pk=run.subject.partition(":")[2])
    asked = run.settings
    original = run.inputs.select_related("file").get(role="pattern").file
    assert original is not None
    measured = read_pattern(read(original), pattern.receipt.name)
    beat(0.1, "read")
    found = fit_pattern(
        measured.two_theta_deg,
        measured.counts,
        phases=asked["phases"],
        radiation=_beam(asked),
        standard=tuple(asked["standard"]) if asked.get("standard") else None,
        sigma=measured.sigma,
        settings=_settings(asked),
    )
    beat(0.9, "fitted")
    strange = out_of_recipe(found.fitted, elements_of(pattern.sample))
    more = [*(_strange(key) for key in strange), *_of_instrument(asked.get("instrument"))]
    more += _of_preparation(pattern, found)
    return _booked(found, pattern, run, more)


def _beam(asked: dict[str, Any]) -> Radiation:
    """Give the radiation that a run was asked for."""
    return radiation(
        asked["radiation"],
        alpha_1_only=asked.get("alpha_1_only", False),
        monochromator_2theta_deg=asked.get("monochromator_2theta_deg"),
    )


def _optics(asked: dict[str, Any]) -> Optics:
    """Give the line shape of the instrument, where it is calibrated, and its slits."""
    known = (asked.get("instrument") or {}).get("optics")
    variable = asked.get("slits") == "variable"
    return (
        Optics(**known, calibrated=True, variable_slits=variable)
        if known
        else Optics(variable_slits=variable)
    )


def _of_instrument(said: dict[str, Any] | None) -> Iterable[Remark]:
    """Remark on an instrument whose calibration is missing, old, or from before a change."""
    if said is None or said["standing"] == "stands":
        return
    name = said["name"]
    scan = "Scan a standard of sharp lines (LaB₆, silicon), and calibrate the instrument with it."
    if said["standing"] == "none":
        yield Remark(
            "NOT_CALIBRATED",
            "info",
            f"{name} was never calibrated with this tube, so no sizes are stated.",
            remedy=scan,
        )
    elif said["standing"] == "changed":
        message = (
            f"{name} was changed on {said['changed_on']}, after its calibration of {said['calibrated_on']}: "
            "the calibration is not used, and no sizes are stated."
        )
        yield Remark("CALIBRATION_STALE", "warning", message, where=name, remedy=scan)
    else:
        message = (
            f"The calibration of {name} lies {said['apart_days']} days from this pattern; it is trusted for "
            f"{said['trusted_days']}. Sizes and strains lean on it."
        )
        yield Remark("CALIBRATION_STALE", "warning", message, said["apart_days"], name, scan)


def calibrate(run: Run, beat: Beat) -> Iterable[models.Model]:
    """Take the line shape of an instrument from the scan of a standard."""
    pattern = Pattern.objects.select_related("diffractometer").get(pk=run.subject.partition(":")[2])
    asked = run.settings
    original = run.inputs.select_related("file").get(role="pattern").file
    assert original is not None
    measured = read_pattern(read(original), pattern.receipt.name)
    beat(0.2, "read")
    found = instrument_profile(
        measured.two_theta_deg,
        measured.counts,
        phase=asked["phase"],
        radiation=_beam(asked),
        sigma=measured.sigma,
        variable_slits=asked["slits"] == "variable",
    )
    beat(0.9, "fitted")
    shape = asdict(found.optics)
    return [
        Calibration(
            diffractometer=pattern.diffractometer,
            pattern=pattern,
            run=run,
            phase=found.phase,
            measured_on=dt.date.fromisoformat(asked["measured_on"]),
            optics={name: shape[name] for name in ("U", "V", "W", "X", "Y", "axial")},
            widths_deg={f"{place:g}": width for place, width in found.widths_deg.items()},
            GoF=found.GoF,
            flags=[remark_as_data(r) for r in found.remarks],
        )
    ]


def _settings(asked: dict[str, Any]) -> Settings:
    """Give the settings of a fit from those of its run."""
    size, span = asked.get("particle_size_um"), asked.get("range_deg")
    return Settings(
        two_theta_deg=(span[0], span[1]) if span else None,
        humps=tuple((h[0], h[1]) for h in asked.get("humps", [])),
        texture=asked.get("texture", True),
        background_terms=asked.get("background_terms", 8),
        particle_size_um=(size[0], size[1]) if size else None,
        optics=_optics(asked),
    )


def _of_preparation(pattern: Pattern, found: PatternFit) -> Iterable[Remark]:
    """Remark on a specimen that was not ground, or of which nobody said what the beam saw."""
    table, curves = phase_table().phases, found.curves
    top = float(curves.two_theta_deg[int(np.argmax(curves.calculated - curves.background))])
    if pattern.preparation == "surface":
        yield from of_surface([table[key] for key in found.fitted], found.radiation, top)
    elif pattern.sample is not None and pattern.preparation in {"", "unknown"}:
        yield Remark(
            "PREPARATION_UNKNOWN",
            "info",
            "Nobody said what the beam saw: a flat surface shows its outermost micrometres only.",
            remedy="Say so when the pattern is brought; a result of a skin is not one of the electrode.",
        )


def _strange(key: str) -> Remark:
    """Remark on a phase that needs what the recipe does not hold."""
    phase = phase_table().phases[key]
    message = f"{phase.name.capitalize()} was found, and the recipe holds no {NEEDS[key]}."
    return Remark(
        "PHASE_NOT_IN_RECIPE", "warning", message, where=key, remedy="Look at the lines it stands for."
    )


def _booked(found: PatternFit, pattern: Pattern, run: Run, more: list[Remark]) -> list[models.Model]:
    """Lay the rows of a finished fit out."""
    document = as_document(found)
    amorphous = found.amorphous
    row = Fit(
        pattern=pattern,
        sample=pattern.sample,
        run=run,
        Rwp=document["Rwp"],
        GoF=document["GoF"],
        amorphous=amorphous.value if amorphous else None,
        amorphous_u=amorphous.u if amorphous else None,
        statistics={k: v for k, v in document.items() if k not in {"phases", "flags"}},
        flags=[
            *document["flags"],
            *(remark_as_data(r) for r in more),
            *_of_arrival(pattern, document["flags"]),
        ],
        curves=packed(found),
    )
    fractions = [
        PhaseFraction(
            fit=row,
            phase=p["phase"],
            phase_table_version=found.phase_table_version,
            weight_fraction=p["weight_fraction"],
            esd=p["esd"],
            u=p["u"],
            details={
                k: v for k, v in p.items() if k not in {"phase", "weight_fraction", "esd", "u", "limit"}
            },
        )
        for p in document["phases"]
    ]
    limits = [
        PhaseFraction(
            fit=row,
            phase=p["phase"],
            phase_table_version=found.phase_table_version,
            weight_fraction=p["limit"],
            below_limit=True,
            details={"name": p["name"], "group": p["group"], "status": "below limit"},
        )
        for p in document["below_limit"]
        if p["limit"] is not None
    ]
    return [row, *fractions, *limits]


def _of_arrival(pattern: Pattern, said: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Give what was remarked when the pattern came and the fit does not say itself: tube, columns, marks."""
    known = {flag["code"] for flag in said}
    rows = pattern.facts.get("remarks", [])
    return [{"value": None, "where": ""} | row for row in rows if row["code"] not in known]


def packed(found: PatternFit) -> bytes:
    """Pack the curves of a fit into bytes that any numpy can read; single precision is plenty for a page."""
    curves, out = found.curves, io.BytesIO()
    arrays = {
        "two_theta_deg": curves.two_theta_deg,
        "measured": curves.measured,
        "calculated": curves.calculated,
        "background": curves.background,
        "sigma": curves.sigma,
    }
    ticks = {f"ticks/{key}": places for key, places in found.ticks_deg.items()}
    phases = {f"phase/{key}": values for key, values in curves.by_phase.items()}
    everything = arrays | ticks | phases
    np.savez_compressed(out, **{k: v.astype(np.float32) for k, v in everything.items()})  # type: ignore[arg-type]
    return out.getvalue()


def external(run: Run, beat: Beat) -> Iterable[models.Model]:
    """Book phase fractions that someone refined elsewhere; nothing is recalculated."""
    kind, _, key = run.subject.partition(":")
    pattern = Pattern.objects.get(pk=key) if kind == "diffraction.pattern" else None
    sample = Sample.objects.get(pk=key) if pattern is None else pattern.sample
    original = run.inputs.select_related("file").get(role="result").file
    assert original is not None
    result = read_fractions(read(original), unit=run.settings.get("unit"))
    beat(0.5, "read")
    row = Fit(
        pattern=pattern,
        sample=sample,
        run=run,
        Rwp=result.figures.get("Rwp"),
        GoF=result.figures.get("GoF"),
        statistics={"figures": dict(result.figures), "about": dict(result.about)},
        flags=[remark_as_data(r) for r in (*result.remarks, *_differences(result, pattern, sample))],
        source=run.settings.get("source")
        or result.about.get("software", "")[:120]
        or "an external refinement",
    )
    return [row, *(_external_row(row, one, run) for one in result.rows)]


def _external_row(row: Fit, one: FractionRow, run: Run) -> PhaseFraction:
    """Lay one phase of an external result out."""
    table = phase_table()
    key = run.settings.get("names", {}).get(one.name) or one.phase
    group = table.phases[key].group if key else ""
    weight = one.weight_fraction if one.weight_fraction is not None else one.limit
    assert weight is not None
    below = one.weight_fraction is None
    return PhaseFraction(
        fit=row,
        phase=(key or one.name)[:40],
        phase_table_version=table.version if key else "",
        weight_fraction=weight,
        esd=one.esd,
        u=None if below else honest(one.esd or 0.0, weight),
        below_limit=below,
        details={"name": one.name, "group": group, "status": "external", **dict(one.extra)},
    )


def _differences(result: ExternalFractions, pattern: Pattern | None, sample: Sample | None) -> list[Remark]:
    """Compare an external result with the latest fit made here of the same specimen."""
    of = Q(pattern=pattern) if pattern else Q(pattern__sample=sample, pattern__isnull=False)
    here = Fit.objects.filter(of, run__function="diffraction.fit").defer("curves").order_by("-pk").first()
    if here is None:
        return []
    ours = {f.phase: f for f in here.fractions.filter(below_limit=False)}
    apart = []
    for row in result.rows:
        mine = ours.get(row.phase or "")
        if mine is None or row.weight_fraction is None:
            continue
        u = sqrt((mine.u or 0.0) ** 2 + honest(row.esd or 0.0, row.weight_fraction) ** 2)
        if abs(row.weight_fraction - mine.weight_fraction) > 3 * u:
            apart.append(
                f"{row.name} {100 * row.weight_fraction:.1f} % there, {100 * mine.weight_fraction:.1f} % here"
            )
    if not apart:
        return []
    message = f"The two results differ by more than three times their uncertainty: {'; '.join(apart)}."
    return [Remark("DIFFERS", "warning", message, remedy="Look at both before either is accepted.")]
