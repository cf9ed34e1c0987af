"""Powder CIF: patterns and phase fractions, in the older names and in those with a dot.

Names follow the powder dictionary of the IUCr; a dot and an underscore are taken as the same mark, so
``_pd_phase_mass_%`` and ``_pd_phase_mass.percent`` are both found.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import ReadingError

ANGLES = ("_pd_proc_2theta_corrected", "_pd_meas_2theta_corrected", "_pd_meas_2theta_scan")
COUNTS = ("_pd_meas_counts_total", "_pd_meas_intensity_total", "_pd_proc_intensity_total")
UNCERTAIN = ("_pd_meas_counts_total_su", "_pd_meas_intensity_total_su", "_pd_proc_intensity_total_su")
PERCENT = ("_pd_phase_mass_%", "_pd_phase_mass_percent")
FIGURES = {
    "Rwp": ("_pd_proc_ls_prof_wr_factor", "_refine_ls_wr_factor_all"),
    "Rexp": ("_pd_proc_ls_prof_wr_expected",),
    "Rbragg": ("_refine_ls_r_i_factor",),
    "GoF": ("_refine_ls_goodness_of_fit_all", "_refine_ls_goodness_of_fit"),
}
ABOUT = {
    "software": ("_computing_structure_refinement", "_pd_calc_method"),
    "analyst": ("_audit_author_name", "_pd_proc_info_author_name"),
}


class NotACif(ReadingError):
    """The text begins like a CIF and cannot be read as one."""

    code = "powder.E002"
    hint = "Export it again, or give two columns of text instead."


class CifWithoutPattern(ReadingError):
    """A CIF holds no measured profile."""

    code = "powder.E003"
    hint = "It needs _pd_meas_2theta_scan (or a range with its step) and _pd_meas_counts_total."


@dataclass(frozen=True, slots=True)
class CifFractions:
    """What a powder CIF says of its phases: (name, percent as written), figures of merit, who and what."""

    percent_by_phase: tuple[tuple[str, str], ...]
    figures: Mapping[str, float]
    about: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CifPattern:
    """A measured profile: angles in degrees, counts, and where given uncertainties and wavelength in Å.

    ``radiation`` is what the file says of the kind of radiation, in its own words.
    """

    two_theta_deg: NDArray[np.float64]
    counts: NDArray[np.float64]
    sigma: NDArray[np.float64] | None
    wavelength_A: float | None
    header: str
    radiation: str = ""


def looks_like_cif(text: str) -> bool:
    """Say whether a text has a data block heading."""
    return re.search(r"(?mi)^\s*data_\S*\s*$", text) is not None


def fractions_in_cif(text: str) -> CifFractions:
    """Find the weight percent of each phase, whatever block it stands in.

    Raises
    ------
    NotACif
    """
    blocks = _columns_of_blocks(text)
    names = _phase_names(blocks)
    rows: list[tuple[str, str]] = []
    for columns in blocks:
        percent = _first(columns, PERCENT)
        if not percent:
            continue
        labels = (
            _first(
                columns, ("_pd_phase_mass_phase_id", "_pd_phase_id", "_pd_phase_block_id", "_pd_phase_name")
            )
            or []
        )
        su = _first(columns, ("_pd_phase_mass_percent_su",)) or []
        for i, value in enumerate(percent):
            label = labels[i] if i < len(labels) else f"phase {i + 1}"
            written = f"{value}±{su[i]}" if i < len(su) and su[i] not in "?." else value
            if value not in "?.":
                rows.append((names.get(label, label), written))
    figures = {key: number for key, tags in FIGURES.items() if (number := _number(blocks, tags)) is not None}
    about = {key: words for key, tags in ABOUT.items() if (words := _text(blocks, tags))}
    return CifFractions(tuple(rows), figures, about)


def pattern_in_cif(text: str) -> CifPattern:
    """Read the measured profile of the first block that has one.

    Raises
    ------
    NotACif, CifWithoutPattern
    """
    blocks = _columns_of_blocks(text)
    for columns in blocks:
        written = _first(columns, COUNTS)
        if not written:
            continue
        values = [_value(v, f"in row {row} of the profile") for row, v in enumerate(written, 1)]
        counts = np.array([v for v, _ in values])
        su = _first(columns, UNCERTAIN)
        given = [s for _, s in values if s is not None]
        sigma = (
            np.array([_split_su(v)[0] for v in su])
            if su
            else np.array(given)
            if len(given) == len(counts)
            else None
        )
        angles = _angles(columns, len(counts))
        wavelength = _number(
            blocks,
            (
                "_diffrn_radiation_wavelength",
                "_diffrn_radiation_wavelength_wavelength",
                "_diffrn_radiation_wavelength_value",
            ),
        )
        said = _text(blocks, ("_diffrn_radiation_probe",)), _text(blocks, ("_diffrn_radiation_type",))
        return CifPattern(angles, counts, sigma, wavelength, _header(text), " ".join(said).strip())
    raise CifWithoutPattern("The CIF has no counts or intensities of a profile.")


def _angles(columns: Mapping[str, list[str]], n: int) -> NDArray[np.float64]:
    """Take the angles as listed, or from the range and its step."""
    listed = _first(columns, ANGLES)
    if listed and len(listed) == n:
        return np.array([_split_su(v)[0] for v in listed])
    low, step, high = (
        _first(columns, (f"_pd_meas_2theta_range_{part}", f"_pd_proc_2theta_range_{part}"))
        for part in ("min", "inc", "max")
    )
    if not low or not step:
        raise CifWithoutPattern(f"The CIF has {n} counts and no angles for them.")
    first, by = _split_su(low[0])[0], _split_su(step[0])[0]
    last = first + (n - 1) * by
    if high and abs(_split_su(high[0])[0] - last) > 1.5 * abs(by):
        raise CifWithoutPattern(
            f"The CIF has {n} counts from {first:g} by {by:g}: they end at {last:g}, and it says {high[0]}."
        )
    return np.asarray(first + np.arange(n) * by, dtype=np.float64)


def _columns_of_blocks(text: str) -> list[dict[str, list[str]]]:
    """Give each data block as name to values, names in one spelling, strings without their quotes."""
    from gemmi import cif

    try:
        document = cif.read_string(text)
    except (ValueError, RuntimeError) as failure:
        raise NotACif(f"It cannot be read as a CIF: {failure}.") from failure
    return [dict(_columns(block, cif)) for block in document]


def _columns(block: Any, cif: Any) -> Iterator[tuple[str, list[str]]]:
    """Give the items of one block, single ones as lists of one."""
    for item in block:
        if item.pair is not None:
            yield _plain(item.pair[0]), [cif.as_string(item.pair[1])]
        elif item.loop is not None:
            loop = item.loop
            for k, tag in enumerate(loop.tags):
                yield _plain(tag), [cif.as_string(v) for v in loop.values[k :: len(loop.tags)]]


def _plain(tag: str) -> str:
    """Write a name with underscores alone and in small letters."""
    return tag.lower().replace(".", "_")


def _first(columns: Mapping[str, list[str]], tags: tuple[str, ...]) -> list[str] | None:
    """Give the column of the first name that is there."""
    return next((columns[tag] for tag in tags if tag in columns), None)


def _phase_names(blocks: list[dict[str, list[str]]]) -> dict[str, str]:
    """Map ids and block ids to the names of phases."""
    names: dict[str, str] = {}
    for columns in blocks:
        found = _first(columns, ("_pd_phase_name", "_chemical_name_mineral", "_chemical_name_common"))
        for tag in ("_pd_phase_id", "_pd_phase_block_id", "_pd_block_id"):
            if found and len(columns.get(tag, [])) == len(found):
                names.update(zip(columns[tag], found, strict=True))
    return names


def _number(blocks: list[dict[str, list[str]]], tags: tuple[str, ...]) -> float | None:
    """Give the first number under one of the names, in any block."""
    for columns in blocks:
        for value in _first(columns, tags) or []:
            try:
                return _split_su(value)[0]
            except NotACif:
                continue
    return None


def _text(blocks: list[dict[str, list[str]]], tags: tuple[str, ...]) -> str:
    """Give the first text under one of the names, in one line."""
    found = (" ".join(value.split()) for columns in blocks for value in _first(columns, tags) or [])
    return next((value for value in found if value not in {"", "?", "."}), "")


def _value(text: str, where: str) -> tuple[float, float | None]:
    """Split a value of the profile; one that is missing or no number is refused with its place."""
    if text in {"", "?", "."}:
        raise NotACif(f"A value is missing {where}.")
    return _split_su(text, where)


def _split_su(text: str, where: str = "") -> tuple[float, float | None]:
    """Split 123.4(5) into value and uncertainty."""
    match = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?:\((\d+)\))?\s*", text)
    if match is None:
        raise NotACif(f'"{text}" stands where a number should be{f", {where}" if where else ""}.')
    number, digits = match.groups()
    return float(number), None if digits is None else float(f"{digits}e{-len(number.partition('.')[2])}")


def _header(text: str) -> str:
    """Keep what stands before the first loop, as it is written."""
    return text.partition("loop_")[0][:4000]


@dataclass(frozen=True, slots=True)
class CifPhase:
    """One phase of a result to be written; fractions 0 to 1."""

    key: str
    name: str
    weight_fraction: float
    esd: float | None
    u: float | None
    below_limit: bool
    absolute: float | None = None
    cell: tuple[float, ...] = ()
    texture_r: float | None = None


@dataclass(frozen=True, slots=True)
class CifResult:
    """A result to be written, with what made it."""

    block: str
    phases: tuple[CifPhase, ...]
    Rwp: float | None = None
    Rexp: float | None = None
    GoF: float | None = None
    standard: str = ""
    standard_fraction: float | None = None
    made_by: str = ""
    finished: str = ""
    phase_table: str = ""
    remarks: tuple[str, ...] = ()
    wavelength_A: float | None = None


def write_result(result: CifResult) -> str:
    """Write a result with the names of the powder dictionary; what has no name there goes into its details.

    A phase below its limit keeps its limit: it stands as a remark, never as a mass.
    """
    from gemmi import cif

    document = cif.Document()
    block = document.add_new_block(result.block)
    block.set_pair("_audit_creation_date", result.finished[:10] or "?")
    block.set_pair("_audit_creation_method", cif.quote(result.made_by or "?"))
    if result.wavelength_A is not None:
        block.set_pair("_diffrn_radiation_wavelength.value", f"{result.wavelength_A:.5f}")
    for tag, value in (
        ("_pd_proc_ls.prof_wR_factor", result.Rwp),
        ("_pd_proc_ls.prof_wR_expected", result.Rexp),
        ("_refine_ls.goodness_of_fit_all", result.GoF),
    ):
        if value is not None:
            block.set_pair(tag, f"{value:.4f}")
    if result.standard and result.standard_fraction is not None:
        block.set_pair("_pd_qpa_internal_std.phase_id", result.standard)
        block.set_pair("_pd_qpa_internal_std.mass_percent", f"{100 * result.standard_fraction:.3f}")
    found = [p for p in result.phases if not p.below_limit]
    names = block.init_loop("_pd_phase.", ["id", "name"])
    for phase in found:
        names.add_row([cif.quote(phase.key), cif.quote(phase.name)])
    masses = block.init_loop("_pd_phase_mass.", ["phase_id", "percent", "percent_su", "absolute"])
    for phase in found:
        su = "." if phase.esd is None else f"{100 * phase.esd:.3f}"
        absolute = "." if phase.absolute is None else f"{100 * phase.absolute:.3f}"
        masses.add_row([cif.quote(phase.key), f"{100 * phase.weight_fraction:.3f}", su, absolute])
    _write_cells(block, cif, [p for p in found if len(p.cell) == 6])
    lines = [f"{p.name}: less than {100 * p.weight_fraction:.2f} %" for p in result.phases if p.below_limit]
    lines += [f"{p.name}: u = {100 * p.u:.2f} % (k = 1)" for p in found if p.u is not None]
    lines += [f"phase table {result.phase_table}"] if result.phase_table else []
    block.set_pair("_pd_proc_info_special_details", cif.quote("\n".join([*lines, *result.remarks]) or "."))
    return str(document.as_string())


def _write_cells(block: Any, cif: Any, phases: list[CifPhase]) -> None:
    """Write refined cells, and textures where they were refined."""
    if phases:
        edges = ["length_a", "length_b", "length_c", "angle_alpha", "angle_beta", "angle_gamma"]
        loop = block.init_loop("_cell.", ["pd_phase_id", *edges])
        for phase in phases:
            loop.add_row([cif.quote(phase.key), *(f"{v:.5f}" for v in phase.cell)])
    textured = [p for p in phases if p.texture_r is not None]
    if textured:
        loop = block.init_loop("_pd_pref_orient_March_Dollase.", ["phase_id", "r"])
        for phase in textured:
            loop.add_row([cif.quote(phase.key), f"{phase.texture_r:.3f}"])
