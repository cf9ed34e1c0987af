"""How large a pixel is: every hint that a file gives, in the order in which it may be trusted.

Field width over picture width comes first: the plain pixel size in some files is that of another store
resolution. Resolution tags of 72, 96 and the like are sizes for printing and say nothing of the specimen.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import tifffile
from PIL import Image

from teardown.science.errors import Remark

# the order of trust; names are those of the books
ORDER = ("typed", "scale bar", "field width", "pixel tag", "ome", "sidecar", "resolution")
PRINT_DPI = (64, 72, 75, 96, 100, 150, 200, 300, 600)
SMALLEST_UM, LARGEST_UM = 1e-4, 20.0
AGREE = 0.02
UNITS_UM = {
    "pm": 1e-6, "å": 1e-4, "nm": 1e-3, "um": 1.0, "µm": 1.0, "μm": 1.0, "mm": 1e3, "cm": 1e4, "m": 1e6,
    "inch": 25400.0,
}  # fmt: skip
_NUMBER = r"([0-9]+(?:[.,][0-9]+)?(?:[eE][-+]?[0-9]+)?)"


@dataclass(frozen=True, slots=True)
class ScaleCandidate:
    """One way of knowing the size of a pixel; ``trusted`` is False for hints that a person must confirm."""

    source: str
    pixel_width_um: float
    pixel_height_um: float
    trusted: bool = True
    evidence: dict[str, str] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Give plain data."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Scale:
    """The candidate that counts, if any, and what speaks against it."""

    chosen: ScaleCandidate | None
    remarks: tuple[Remark, ...]


def choose_scale(candidates: Sequence[ScaleCandidate]) -> Scale:
    """Choose the most trusted candidate; where another differs by more than 2 %, a person is asked."""
    trusted = sorted((one for one in candidates if one.trusted), key=lambda one: ORDER.index(one.source))
    if not trusted:
        return Scale(None, ())
    first = trusted[0]
    remarks = [
        Remark(
            "scale_conflict",
            "warning",
            f"By {first.source} a pixel is {first.pixel_width_um:.5g} um, by {other.source} "
            f"{other.pixel_width_um:.5g} um.",
            other.pixel_width_um / first.pixel_width_um,
            "",
            "Say which holds.",
        )
        for other in trusted[1:]
        if abs(other.pixel_width_um / first.pixel_width_um - 1) > AGREE
        and first.source not in ("typed", "scale bar")
    ]
    if abs(first.pixel_height_um / first.pixel_width_um - 1) > 0.01:
        remarks.append(
            Remark(
                "pixels_not_square",
                "warning",
                f"Pixels are {first.pixel_width_um:.4g} by {first.pixel_height_um:.4g} um.",
                first.pixel_height_um / first.pixel_width_um,
                "",
                "The picture is brought to square pixels before it is measured.",
            )
        )
    return Scale(first, tuple(remarks))


def candidates_in_tiff(
    tiff: tifffile.TiffFile, page: tifffile.TiffPage
) -> tuple[list[ScaleCandidate], dict[str, str]]:
    """Collect every hint in a TIFF file's tags, and what they say of the microscope."""
    found: list[ScaleCandidate] = []
    about: dict[str, str] = {}
    for code in (34680, 34682):
        tag = page.tags.get(code)
        if tag is not None and isinstance(tag.value, Mapping):
            found += _from_sections(tag.value, page)
            about |= _about_sections(tag.value)
    tag = page.tags.get(34118)
    if tag is not None and isinstance(tag.value, Mapping):
        found += _from_fields(tag.value, page)
        about |= _about_fields(tag.value)
    description = str(page.description or "")
    if "<OME" in description:
        found += _from_ome(description)
    elif description:
        found += _hints_in_text(description)
    found += _from_resolution(page)
    return [one for one in found if _plausible(one)], about


def candidates_in_raster(picture: Image.Image) -> Iterable[ScaleCandidate]:
    """Collect the hints of a PNG or JPEG file: its resolution, where it can mean the specimen."""
    dpi = picture.info.get("dpi")
    if not dpi or min(dpi) <= 0:
        return []
    one = _of_dpi(float(dpi[0]), float(dpi[1]))
    return [one] if _plausible(one) else []


def read_sidecar(text: str) -> list[ScaleCandidate]:
    """Find a pixel size with its unit in the text file that lies beside a picture."""
    pattern = rf"pixel\s*(?:size|width)(?:\s*x)?\s*[=:]\s*{_NUMBER}\s*(nm|um|µm|μm|mm|m)\b"
    found = []
    for match in re.finditer(pattern, text, re.IGNORECASE):
        size = float(match[1].replace(",", ".")) * UNITS_UM[match[2].lower()]
        one = ScaleCandidate("sidecar", size, size, True, {"line": match[0].strip()})
        if _plausible(one):
            found.append(one)
    return found[:1]


def strip_rows(page: tifffile.TiffPage) -> int | None:
    """Tell from the tags how many rows below the scanned field hold the information strip."""
    for code in (34680, 34682):
        tag = page.tags.get(code)
        scan = tag.value.get("Scan", {}) if tag is not None and isinstance(tag.value, Mapping) else {}
        height, pixel = _number(scan.get("VerFieldsize")), _number(scan.get("PixelHeight"))
        if height and pixel:
            rows = page.imagelength - round(height / pixel)
            if 0 < rows < page.imagelength // 3:
                return int(rows)
    return None


def _from_sections(tags: Mapping[str, Any], page: tifffile.TiffPage) -> list[ScaleCandidate]:
    """Read tags 34680 and 34682: sections of named values in metres."""
    scan = tags.get("Scan")
    if not isinstance(scan, Mapping):
        return []
    found = []
    width = _number(scan.get("HorFieldsize"))
    pixel, tall = _number(scan.get("PixelWidth")), _number(scan.get("PixelHeight"))
    if width:
        size = width * 1e6 / page.imagewidth
        ratio = tall / pixel if pixel and tall else 1.0
        evidence = {"field width": f"{width * 1e6:.6g} um", "columns": str(page.imagewidth)}
        found.append(ScaleCandidate("field width", size, size * ratio, True, evidence))
    if pixel:
        found.append(ScaleCandidate("pixel tag", pixel * 1e6, (tall or pixel) * 1e6, True, {}))
    return found


def _from_fields(tags: Mapping[str, Any], page: tifffile.TiffPage) -> list[ScaleCandidate]:
    """Read tag 34118: named triples of words, value and unit."""
    found = []
    width = _length_um(tags.get("ap_width"))
    if width:
        size = width / page.imagewidth
        evidence = {"field width": f"{width:.6g} um", "columns": str(page.imagewidth)}
        found.append(ScaleCandidate("field width", size, size, True, evidence))
    size_of_pixel = _length_um(tags.get("ap_image_pixel_size"))
    if size_of_pixel:
        found.append(ScaleCandidate("pixel tag", size_of_pixel, size_of_pixel, True, {}))
    return found


def _from_ome(xml: str) -> list[ScaleCandidate]:
    sizes = []
    for axis in "XY":
        match = re.search(rf'PhysicalSize{axis}="{_NUMBER}"', xml)
        unit = re.search(rf'PhysicalSize{axis}Unit="([^"]+)"', xml)
        if match is None:
            return []
        factor = UNITS_UM.get(unit[1].lower() if unit else "µm")
        if factor is None:
            return []
        sizes.append(float(match[1]) * factor)
    return [ScaleCandidate("ome", sizes[0], sizes[1], True, {})]


def _hints_in_text(text: str) -> list[ScaleCandidate]:
    """Find a pixel size in free text: shown to a person, never taken."""
    return [
        ScaleCandidate(one.source, one.pixel_width_um, one.pixel_height_um, False, one.evidence)
        for one in read_sidecar(text[:20_000])
    ]


def _from_resolution(page: tifffile.TiffPage) -> list[ScaleCandidate]:
    across, down = page.tags.get(282), page.tags.get(283)
    unit = page.tags.get(296)
    inches = {2: 1.0, 3: 2.54}.get(int(unit.value) if unit is not None else 2)
    if across is None or down is None or inches is None:
        return []
    dpi = [_ratio(tag.value) * inches for tag in (across, down)]
    return [_of_dpi(*dpi)] if min(dpi) > 0 else []


def _of_dpi(across: float, down: float) -> ScaleCandidate:
    printed = any(abs(across - dpi) < 0.6 for dpi in PRINT_DPI)
    evidence = {"dots per inch": f"{across:.6g}"}
    if printed:
        evidence["why not"] = "a size for printing"
    return ScaleCandidate("resolution", 25400 / across, 25400 / down, not printed, evidence)


def _plausible(one: ScaleCandidate) -> bool:
    return all(SMALLEST_UM <= size <= LARGEST_UM for size in (one.pixel_width_um, one.pixel_height_um))


def _about_sections(tags: Mapping[str, Any]) -> dict[str, str]:
    names = {
        ("Beam", "HV"): "voltage_V",
        ("Detectors", "Name"): "detector",
        ("Stage", "WorkingDistance"): "working_distance_m",
        ("System", "Dnumber"): "serial",
        ("User", "Date"): "date",
        ("User", "Time"): "time",
    }
    found = {}
    for (section, key), name in names.items():
        inner = tags.get(section)
        if isinstance(inner, Mapping) and inner.get(key) not in (None, ""):
            found[name] = str(inner[key])[:80]
    return found


def _about_fields(tags: Mapping[str, Any]) -> dict[str, str]:
    names = {
        "ap_actualkv": "voltage",
        "dp_detector_type": "detector",
        "ap_wd": "working_distance",
        "ap_mag": "magnification",
        "ap_date": "date",
        "ap_time": "time",
        "sv_serial_number": "serial",
    }
    found = {}
    for key, name in names.items():
        triple = tags.get(key)
        if isinstance(triple, (list, tuple)) and len(triple) > 1:
            found[name] = " ".join(str(part) for part in triple[1:])[:80]
    return found


def _length_um(triple: Any) -> float | None:
    if not isinstance(triple, (list, tuple)) or len(triple) < 3:
        return None
    value, factor = _number(triple[1]), UNITS_UM.get(str(triple[2]).strip().lower())
    return value * factor if value and factor else None


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except (TypeError, ValueError):
        return None
    return found if 0 < found < 1e12 else None


def _ratio(value: Any) -> float:
    if isinstance(value, (list, tuple)) and len(value) == 2:
        return float(value[0]) / float(value[1]) if value[1] else 0.0
    return _number(value) or 0.0
