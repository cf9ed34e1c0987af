"""What people do with patterns: add, fit again, bring fractions from elsewhere, accept, reject."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.diffraction.models import Diffractometer, Fit, Pattern, Review, Slits
from teardown.diffraction.rules import ASK_WHY, likely_phases, of_tube
from teardown.diffraction.runs import ask_calibration, ask_external, ask_fit, elements_of, stopped_discharged
from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.files.store import keep
from teardown.records.actions import record
from teardown.science.errors import Refusal, Remark

LARGEST_BYTES = 20 * 2**20


def phases_for(pattern_of: Sample | None, standard: str = "") -> tuple[str, ...]:
    """Offer phases for a pattern of this sample: from recipe, electrode, state at the stop, and rinsing."""
    part = pattern_of.origin if pattern_of else None
    return likely_phases(
        elements_of(pattern_of),
        rinsed=pattern_of.rinsed if pattern_of else None,
        standard=standard,
        standing_discharged=stopped_discharged(pattern_of),
        air_electrode=part is not None and part.component.key == "component.air_electrode",
    )


def add_pattern(
    *,
    file: File[Any] | bytes,
    by: Any,
    name: str = "",
    sample: Sample | None = None,
    radiation: str = "",
    standard: str = "",
    standard_fraction: float | None = None,
    preparation: str = "",
    grain_um: tuple[float, float] | None = None,
    monochromator_2theta_deg: float | None = None,
    alpha_1_only: bool = False,
    diffractometer: Diffractometer | None = None,
    slits: str = "",
    measured_on: dt.date | None = None,
    note: str = "",
    phases: Sequence[str] | None = None,
    fit: bool = True,
) -> Pattern:
    """Keep a powder pattern as it came, and have its phases fitted.

    Parameters
    ----------
    radiation : str
        "cu", "co", "mo", "cr" or "fe"; left out, what the instrument or the file's header says, else copper.
    diffractometer : Diffractometer, optional
        Its tube, monochromator and slits fill what is left out here; its calibration is used in fits.
    grain_um : (low, high), optional
        Range of the grain diameter, in µm; it decides how far metal is hidden beside its oxides.
    phases : sequence of str, optional
        Phases to offer; left out, those that the recipe makes likely.

    Raises
    ------
    ValidationError
        With the reason, if the file is no pattern or what is said of it cannot be; nothing is kept then.
    """
    demand(by, "patterns.add")
    given = name or getattr(file, "name", "") or "pattern"
    facts, hint = _looked_at(_bytes_of(file), given)
    of = diffractometer
    tube = radiation or (of.radiation if of else "") or hint or "cu"
    facts["remarks"] += _as_data(of_tube(tube, hint, said=bool(radiation or of)))
    same = of is not None and of.radiation == tube
    if of is not None and same and monochromator_2theta_deg is None:
        monochromator_2theta_deg = of.monochromator_2theta_deg
    standard = _keys([standard])[0] if standard else ""
    offered = _keys(phases) if phases is not None else phases_for(sample, standard)
    pattern = Pattern(
        sample=sample,
        radiation=tube,
        standard=standard,
        standard_fraction=standard_fraction,
        preparation=preparation,
        grain_low_um=grain_um[0] if grain_um else None,
        grain_high_um=grain_um[1] if grain_um else None,
        monochromator_2theta_deg=monochromator_2theta_deg,
        alpha_1_only=alpha_1_only or (of is not None and same and of.alpha_1_only),
        diffractometer=of,
        slits=slits or (of.slits if of else Slits.FIXED),
        facts=facts | {"anode_in_header": hint or ""},
        measured_on=measured_on,
        note=note,
        by=by,
    )
    pattern.full_clean(exclude=["receipt"])
    receipt = keep(file, by=by, name=given, facts={"points": facts["points"]})
    with transaction.atomic():
        pattern.receipt = receipt
        pattern.save()
        if fit:
            ask_fit(pattern, offered, by=by)
        record(
            verb="added",
            subject=pattern,
            by=by,
            payload={"name": receipt.name, "sample": sample.code if sample else "", "phases": list(offered)},
        )
    return pattern


def _bytes_of(file: File[Any] | bytes) -> bytes:
    """Give the bytes of an upload that is small enough to be a pattern."""
    size = len(file) if isinstance(file, bytes) else file.size
    if size is not None and size > LARGEST_BYTES:
        raise ValidationError(f"{size // 2**20} MB is more than a powder pattern ever needs (20 MB).")
    if isinstance(file, bytes):
        return file
    file.seek(0)
    return bytes(file.read())


def _looked_at(data: bytes, name: str) -> tuple[dict[str, Any], str | None]:
    """Read a pattern once at arrival: what it looks like, and the hint of a tube."""
    from teardown.formats.powder import read_pattern

    try:
        found = read_pattern(data, name)
    except Refusal as refusal:
        raise ValidationError(str(refusal)) from refusal
    looks = found.quality
    facts = {
        "points": looks.n,
        "first_deg": looks.first_deg,
        "last_deg": looks.last_deg,
        "step_deg": round(looks.step_deg, 5),
        "highest": looks.highest,
        "kind": found.kind,
        "header": found.header[:4000],
        "has_uncertainties": found.sigma is not None,
        "remarks": _as_data(found.remarks),
    }
    return facts, found.anode


def _as_data(remarks: Iterable[Remark]) -> list[dict[str, Any]]:
    """Give remarks as plain data."""
    from teardown.science.crystallography.document import remark_as_data

    return [remark_as_data(r) for r in remarks]


def _keys(names: Sequence[str]) -> tuple[str, ...]:
    """Find the keys of phases, or refuse in words."""
    from teardown.science.crystallography.phases import choose

    try:
        return tuple(phase.key for phase in choose(names))
    except Refusal as refusal:
        raise ValidationError(str(refusal)) from refusal


def fit_again(
    *,
    pattern: Pattern,
    phases: Sequence[str],
    by: Any,
    range_deg: tuple[float, float] | None = None,
    hump_deg: tuple[float, float] | None = None,
    particle_size_um: tuple[float, float] | None = None,
    reason: str = "",
) -> Run:
    """Have a pattern fitted with these phases; what was found before stays.

    Raises
    ------
    ValidationError
        If a phase is not known, or a range cannot be.
    """
    demand(by, "patterns.add")
    offered = _keys(phases)
    if len(offered) > 10:
        raise ValidationError(f"{len(offered)} phases are offered; one pattern tells at most ten apart.")
    if range_deg and not 0 < range_deg[0] < range_deg[1] < 180:
        raise ValidationError("The range rises, and lies between 0 and 180 degrees.")
    if particle_size_um and not 0 < particle_size_um[0] <= particle_size_um[1]:
        raise ValidationError("The grain size rises, and lies above zero.")
    more: dict[str, Any] = {
        "range_deg": list(range_deg) if range_deg else None,
        "humps": [list(hump_deg)] if hump_deg else None,
    }
    if particle_size_um:
        more["particle_size_um"] = list(particle_size_um)
    with transaction.atomic():
        run = ask_fit(pattern, offered, by=by, **more)
        record(
            verb="asked to fit",
            subject=pattern,
            by=by,
            reason=reason,
            payload={"run": run.pk, "phases": list(offered)},
        )
    return run


def give_fractions(
    *,
    result: File[Any] | bytes | str,
    by: Any,
    sample: Sample | None = None,
    pattern: Pattern | None = None,
    name: str = "",
    source: str = "",
    unit: str | None = None,
    names: Mapping[str, str] | None = None,
) -> Run:
    """Bring phase fractions that someone refined elsewhere: typed, pasted, as a table, or a powder CIF.

    Parameters
    ----------
    result : File, bytes or str
        The text; it is kept as it came.
    sample, pattern
        What it is of; one of them.
    source : str
        Who or what refined it.
    names : mapping, optional
        What a written name stands for, where it is ambiguous: name to key of the phase table.

    Raises
    ------
    ValidationError
        If it cannot be read, or a name stands for more than one phase and is not settled.
    """
    demand(by, "patterns.add")
    of = pattern or sample
    if of is None:
        raise ValidationError("Say which sample or pattern the fractions are of.")
    data = result.encode() if isinstance(result, str) else _bytes_of(result)
    _check_external(data, unit, names or {})
    given = name or getattr(result, "name", "") or "typed phase fractions.txt"
    receipt = keep(data, by=by, name=given)
    settings_: dict[str, Any] = {"source": source[:120]}
    if unit:
        settings_["unit"] = unit
    if names:
        settings_["names"] = dict(names)
    with transaction.atomic():
        run = ask_external(of, receipt.file, by=by, settings_=settings_)
        record(
            verb="brought phase fractions",
            subject=of,
            by=by,
            payload={"run": run.pk, "name": receipt.name, "source": source},
        )
    return run


def _check_external(data: bytes, unit: str | None, names: Mapping[str, str]) -> None:
    """Refuse an external result that cannot be booked."""
    from teardown.formats.phase_fractions import read_fractions

    try:
        found = read_fractions(data, unit=unit)
    except Refusal as refusal:
        raise ValidationError(str(refusal)) from refusal
    _keys(list(names.values())) if names else None
    open_names = [
        r for r in found.remarks if r.code == "EXT_AMBIGUOUS_PHASE" and not _settled(r.where, found, names)
    ]
    if open_names:
        raise ValidationError([f"{r.where.capitalize()}: {r.message}" for r in open_names])


def _settled(where: str, found: Any, names: Mapping[str, str]) -> bool:
    """Say whether a remark on a line is about a name that was settled."""
    line = int(where.removeprefix("line "))
    return any(row.line == line and row.name in names for row in found.rows)


def review(*, fit: Fit, verdict: str, by: Any, reason: str = "") -> Review:
    """Accept or reject a fit. Grave remarks are accepted only with a word on why.

    Raises
    ------
    ValidationError
        If a reason is missing.
    """
    demand(by, "measures.review")
    grave = sorted({flag["code"] for flag in fit.flags} & ASK_WHY)
    if verdict == Review.Verdict.ACCEPT and grave and not reason.strip():
        said = next(flag["message"] for flag in fit.flags if flag["code"] == grave[0])
        raise ValidationError(f"Say why this is accepted although it carries a grave remark: {said}")
    word = Review(fit=fit, verdict=verdict, reason=reason.strip(), by=by)
    word.full_clean()
    with transaction.atomic():
        word.save()
        record(
            verb="accepted" if verdict == Review.Verdict.ACCEPT else "rejected",
            subject=fit,
            by=by,
            reason=reason.strip(),
            payload={"run": fit.run_id, "pattern": fit.pattern_id, "sample": fit.sample_id},
        )
    return word


def add_diffractometer(*, name: str, radiation: str, by: Any, **said: Any) -> Diffractometer:
    """Make a diffractometer known: tube, slits, monochromator, and for how long a calibration is trusted.

    Raises
    ------
    ValidationError
        If there is one of that name, or a setting cannot be.
    """
    demand(by, "patterns.add")
    instrument = Diffractometer(name=name.strip(), radiation=radiation, by=by, **said)
    instrument.full_clean()
    with transaction.atomic():
        instrument.save()
        record(verb="added", subject=instrument, by=by, payload={"name": instrument.name, "tube": radiation})
    return instrument


def change_diffractometer(
    *, instrument: Diffractometer, changed_on: dt.date, reason: str, by: Any
) -> Diffractometer:
    """Note that tube, optics or alignment were changed: calibrations of before count no more from then on.

    Raises
    ------
    ValidationError
        If the reason is missing, or the day lies before the last change.
    StaleVersion
        If someone else noted a change in between.
    """
    demand(by, "patterns.add")
    if not reason.strip():
        raise ValidationError("Say what was changed.")
    if instrument.changed_on and changed_on < instrument.changed_on:
        raise ValidationError(f"The last change was noted for {instrument.changed_on}; this one lies before.")
    with transaction.atomic():
        instrument.change(seen=instrument.version, changed_on=changed_on)
        record(
            verb="changed", subject=instrument, by=by, reason=reason.strip(),
            payload={"changed_on": changed_on.isoformat()},
        )  # fmt: skip
    return instrument


def calibrate(*, pattern: Pattern, phase: str, by: Any) -> Run:
    """Have the line shape of a pattern's instrument taken from it; it is the scan of a standard.

    Raises
    ------
    ValidationError
        If the pattern names no instrument, or the standard is not known.
    """
    demand(by, "patterns.add")
    if pattern.diffractometer is None:
        raise ValidationError("This pattern names no instrument; bring it again with its instrument.")
    (key,) = _keys([phase])
    with transaction.atomic():
        run = ask_calibration(pattern, key, by=by)
        record(
            verb="asked to calibrate",
            subject=pattern,
            by=by,
            payload={"run": run.pk, "phase": key, "instrument": pattern.diffractometer.name},
        )
    return run
