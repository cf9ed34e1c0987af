"""Labels for samples: code in plain letters, its meaning in small ones, and two QR codes of it.

Two copies, because one drop rarely covers both; the strongest error correction, because it costs no larger
symbol for eight characters.
"""

import json
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import segno

from teardown.dissection.models import Sample
from teardown.page.finders import typeface_folders

TYPST = Path(__file__).parent / "labels.typ"


@dataclass(frozen=True, slots=True)
class LabelSize:
    """A size of label in mm, and how it lies on its sheet; a roll has one a page."""

    words: str
    width_mm: float
    height_mm: float
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    across_mm: float = 0.0
    down_mm: float = 0.0
    page_width_mm: float = 0.0
    page_height_mm: float = 0.0


def _sheet(words: str, width: float, height: float, columns: int, rows: int, across: float) -> LabelSize:
    """Lay labels on an A4 sheet, centred, rows without a gap."""
    left = (210 - columns * across + (across - width)) / 2
    return LabelSize(
        words, width, height, columns, rows, left, (297 - rows * height) / 2, across, height, 210, 297
    )


SIZES = {
    "small": _sheet("38.1 × 21.2 mm, 65 on a sheet of A4", 38.1, 21.2, 5, 13, 40.6),
    "medium": _sheet("63.5 × 38.1 mm, 21 on a sheet of A4", 63.5, 38.1, 3, 7, 66.0),
    "roll": LabelSize("50 × 25 mm, on a roll", 50, 25, page_width_mm=50, page_height_mm=25),
    "vial": LabelSize("40 × 12 mm, on a roll, for vials", 40, 12, page_width_mm=40, page_height_mm=12),
}


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed on one label."""

    code: str
    line: str = ""
    note: str = ""
    hazard: str = ""


def label_of(sample: Sample, hazard: str = "") -> Label:
    """Write the label of a sample."""
    part = sample.origin
    where = " ".join(filter(None, [str(part.component) if part else "", sample.place]))
    cell = part.dissection.cell.code if part else str(sample.lot or "blank")
    return Label(
        sample.code, f"{cell} {where}".strip(), f"{sample.at:%d %b %Y %H:%M} {sample.purpose}".strip(), hazard
    )


def qr_svg(code: str) -> str:
    """Draw the QR code of a sample code: version 1, level H, with its quiet zone."""
    return segno.make_qr(code, error="h", boost_error=False).svg_inline(border=4, omitsize=True)


def labels_pdf(labels: Sequence[Label], size: LabelSize) -> bytes:
    """Set labels as a PDF."""
    return _set(labels, size, format="pdf")


def labels_png(labels: Sequence[Label], size: LabelSize, dots_per_inch: int = 300) -> bytes:
    """Set the labels of one page as a picture, for a printer that takes no PDF."""
    return _set(labels, size, format="png", ppi=dots_per_inch)


def _set(labels: Sequence[Label], size: LabelSize, **how: Any) -> bytes:
    """Set labels. Text reaches the typesetter as data, never as markup."""
    import typst

    with tempfile.TemporaryDirectory(prefix="labels-") as folder:
        root = Path(folder)
        rows = []
        for number, label in enumerate(labels):
            (root / f"{number}.svg").write_text(
                qr_svg(label.code).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1),
                encoding="utf-8",
            )
            rows.append(asdict(label) | {"svg": f"{number}.svg"})
        (root / "labels.json").write_text(
            json.dumps({"labels": rows, "size": asdict(size)}), encoding="utf-8"
        )
        (root / "labels.typ").write_text(TYPST.read_text(encoding="utf-8"), encoding="utf-8")
        return bytes(
            typst.compile(
                str(root / "labels.typ"),
                root=str(root),
                font_paths=[str(folder) for folder in typeface_folders()],
                **how,
            )
        )
