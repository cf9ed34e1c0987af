"""Reads a cycling file for a test and plans what its import would do. Writes nothing."""

import hashlib
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from teardown.cells.models import Test
from teardown.cycling.models import ColumnMap, CyclingFile
from teardown.files.models import Delivery, Receipt, StoredFile
from teardown.files.store import originals, pieces, read
from teardown.science.errors import Remark

PIECE = 2**20


@dataclass(frozen=True, slots=True)
class Plan:
    """What a file would bring.

    Attributes
    ----------
    looked : dict
        As `teardown.formats.series_preview.preview` gives it.
    grows : CyclingFile or None
        The file of this test that this one goes on from, and would take the place of.
    remarks : list of dict
        Those of the file and those of this laboratory's books.
    """

    looked: dict[str, Any]
    grows: CyclingFile | None
    remarks: list[dict[str, Any]] = field(default_factory=list)

    @property
    def refusals(self) -> list[dict[str, Any]]:
        """Give what stands against the import."""
        return [r for r in self.remarks if r["level"] == "error"]


def plan_import(
    test: Test, receipt: Receipt, *, column_map: Mapping[str, Any] | None = None, apart: bool = True
) -> Plan:
    """Read a file as it would be read, and compare it with the files of this and of other cells.

    Parameters
    ----------
    test : Test
    receipt : Receipt
        The file, kept already.
    column_map : mapping, optional
        A column map document; else a remembered one, else names decide.
    apart : bool
        Open it in a child process with little memory and time, as uploads are.
    """
    looked = _look(test, receipt, column_map, apart=apart)
    grows = grows_from(test, receipt.file)
    remarks = [*looked["remarks"], *map(asdict, _against_books(test, receipt, looked, grows))]
    return Plan(looked, grows, remarks)


def _look(
    test: Test, receipt: Receipt, column_map: Mapping[str, Any] | None, *, apart: bool
) -> dict[str, Any]:
    from teardown.formats.series_preview import look, preview

    asked: dict[str, Any] = {
        "name": receipt.name,
        "column_map": dict(column_map) if column_map else None,
        "remembered": {m.fingerprint: m.document for m in ColumnMap.objects.all()},
        "iron_mass_g": test.cell.iron_mass_g,
    }
    if not apart:
        return preview(read(receipt.file), **asked)
    try:
        return look(Path(originals().path(receipt.file.path)), **asked)
    except NotImplementedError:  # a store without a folder: the child reads a copy
        with tempfile.NamedTemporaryFile() as copy:
            for piece in pieces(receipt.file):
                copy.write(piece)
            copy.flush()
            return look(Path(copy.name), **asked)


def current_files(test: Test) -> list[CyclingFile]:
    """Give the files that count for a test, in order of import."""
    rows = CyclingFile.objects.filter(test=test, superseded_by=None, withdrawn=False)
    return list(rows.select_related("receipt__file", "delivery"))


def grows_from(test: Test, stored: StoredFile) -> CyclingFile | None:
    """Find the file of this test whose bytes this one begins with: an export that has grown since."""
    shorter = sorted(
        (f for f in current_files(test) if f.receipt.file.bytes < stored.bytes),
        key=lambda f: f.receipt.file.bytes,
    )
    if not shorter:
        return None
    marks = {f.receipt.file.bytes: f for f in shorter}
    digest, passed = hashlib.sha256(), 0
    found = None
    limits = sorted(marks)
    for piece in pieces(stored):
        while limits and passed + len(piece) >= limits[0]:
            ahead = digest.copy()
            ahead.update(piece[: limits[0] - passed])
            earlier = marks[limits.pop(0)]
            if ahead.hexdigest() == earlier.receipt.file.sha256:
                found = earlier
        digest.update(piece)
        passed += len(piece)
        if not limits:
            break
    return found


def _against_books(
    test: Test, receipt: Receipt, looked: Mapping[str, Any], grows: CyclingFile | None
) -> list[Remark]:
    """Say what the lab's own books hold against a file, or beside it."""
    remarks = []
    same = CyclingFile.objects.filter(receipt__file=receipt.file, superseded_by=None, withdrawn=False)
    for earlier in same.select_related("test__cell", "receipt"):
        where = f"{earlier.test}, imported as “{earlier.receipt.name}” on {earlier.at:%-d %B %Y}"
        remedy = (
            "Nothing needs to be done."
            if earlier.test_id == test.pk
            else "Withdraw it there first, if it belongs here."
        )
        remarks.append(
            Remark(
                "FILE_HERE_ALREADY", "error", f"The same file is here already: {where}.", None, where, remedy
            )
        )
    if grows is not None:
        text = f"It goes on from “{grows.receipt.name}” and would take its place."
        remarks.append(
            Remark("FILE_GROWN", "info", text, float(receipt.file.bytes - grows.receipt.file.bytes))
        )
    for other in current_files(test):
        if grows is None or other.pk != grows.pk:
            remarks += _overlap(other, looked)
    return remarks


def _overlap(other: CyclingFile, looked: Mapping[str, Any]) -> list[Remark]:
    """Compare the clocks of two files of one test."""
    mine, theirs = looked.get("clock"), _clock_of(other.delivery)
    if not mine or not theirs or min(mine[1], theirs[1]) - max(mine[0], theirs[0]) <= 60:
        return []
    hours = (min(mine[1], theirs[1]) - max(mine[0], theirs[0])) / 3600
    text = f"It tells of {hours:.3g} hours that “{other.receipt.name}” tells of too."
    remedy = "Withdraw that file first, or send only the records that are new."
    return [Remark("FILES_OVERLAP", "error", text, hours, other.receipt.name, remedy)]


def _clock_of(delivery: Delivery | None) -> list[float] | None:
    planned = delivery.planned if delivery else []
    return planned[0].get("clock") if planned else None
