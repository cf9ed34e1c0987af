"""A fit as plain data, for JSON and for the books: numbers, words and lists only."""

from dataclasses import asdict
from typing import Any

from teardown.science.crystallography.fit import PatternFit
from teardown.science.crystallography.results import PhaseResult
from teardown.science.errors import Remark


def remark_as_data(remark: Remark) -> dict[str, Any]:
    """Give a remark as plain data, its message complete with what to do."""
    return {
        "code": remark.code,
        "level": remark.level,
        "message": remark.message,
        "value": None if remark.value is None else float(remark.value),
        "where": remark.where,
        "remedy": remark.remedy,
    }


def phase_as_data(row: PhaseResult) -> dict[str, Any]:
    """Give what a fit found of one phase as plain data."""
    data = asdict(row)
    for name, value in data.items():
        if isinstance(value, float):  # numpy's too, which are floats of their own kind
            data[name] = float(value)
    data["width_measured"] = bool(row.width_measured)
    data["cell"] = None if row.cell is None else [float(v) for v in row.cell]
    data["cell_esd"] = None if row.cell_esd is None else [float(v) for v in row.cell_esd]
    return data


def as_document(fit: PatternFit) -> dict[str, Any]:
    """Give a whole fit as plain data, without its curves.

    ``phases`` holds what was found, with numbers only; ``below_limit`` what was offered and is not there,
    with its limit; ``standard`` and ``identified`` what is in the pattern and not in the sum.
    """
    rows = {status: [phase_as_data(p) for p in fit.phases if p.status == status] for status in _STATUSES}
    numbers = fit.statistics
    return {
        "phases": rows["found"],
        "below_limit": [
            {"phase": r["phase"], "name": r["name"], "group": r["group"], "limit": r["limit"]}
            for r in rows["below limit"]
        ],
        "identified": [{"phase": r["phase"], "name": r["name"]} for r in rows["identified"]],
        "standard": rows["standard"][0] if rows["standard"] else None,
        "amorphous": asdict(fit.amorphous) if fit.amorphous else None,
        "groups": [{**asdict(g), "phases": list(g.phases)} for g in fit.groups],
        "covariance": {"phases": list(fit.fitted), "values": fit.covariance.tolist()},
        "Rwp": numbers.Rwp,
        "GoF": numbers.GoF,
        "statistics": asdict(numbers),
        "unexplained": [{**asdict(u), "candidates": list(u.candidates)} for u in fit.unexplained],
        "flags": [remark_as_data(r) for r in fit.remarks],
        "parameters": fit.parameters,
        "radiation": fit.radiation,
        "settings": fit.settings,
        "phase_table": fit.phase_table_version,
        "version": fit.version,
    }


_STATUSES = ("found", "below limit", "identified", "standard")
