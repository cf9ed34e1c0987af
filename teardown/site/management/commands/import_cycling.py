"""Import a folder of cycling files: each goes to the test of the cell whose code its name holds."""

import re
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

ENDINGS = (".csv", ".tsv", ".txt", ".xlsx", ".bdf", ".parquet", ".gz", ".asc", ".dat")
REFUSED = 2


class Command(BaseCommand):
    """Show what a folder would give, or import it."""

    help = (
        "Import every cycling file of a folder. A file belongs to the cell whose code stands in its name; "
        "without --apply it is only said what would be done. Ends with 2 where a file is refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare folder, person and what to do."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--by", required=True, metavar="USERNAME", help="the person who imports")
        parser.add_argument(
            "--test", type=int, help="number of the test, where a cell had several; else its last"
        )
        parser.add_argument("--apply", action="store_true", help="import what is not refused")

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through the folder, one line a file."""
        del args
        person = _person(options["by"])
        folder: Path = options["folder"]
        if not folder.is_dir():
            raise CommandError(f"{folder} is no folder.")
        refused = 0
        files = sorted(f for f in folder.rglob("*") if f.is_file() and f.name.lower().endswith(ENDINGS))
        for number, file in enumerate(files, 1):
            try:
                said = _one(file, person, options)
            except ValidationError as refusal:
                said = "refused: " + " ".join(refusal.messages)
                refused += 1
            self.stdout.write(f"{number}/{len(files)} {file.relative_to(folder)}: {said}")
        if not files:
            self.stdout.write("No cycling file is in this folder.")
        if refused:
            raise SystemExit(REFUSED)


def _person(username: str) -> Any:
    from teardown.accounts.models import User
    from teardown.accounts.roles import may, refusal

    person = User.objects.filter(username=username).first()
    if person is None:
        raise CommandError(f"There is no person with the name {username}.")
    if not may(person, "cycling.import"):
        raise CommandError(refusal(person, "cycling.import"))
    return person


def _one(file: Path, person: Any, options: dict[str, Any]) -> str:
    """Import one file, or say what it would give.

    Raises
    ------
    ValidationError
        If it belongs to no cell or is refused.
    """
    from django.core.files.base import File

    from teardown.cycling.actions import apply_import, show_import

    test = _test_of(file.name, options["test"])
    if not options["apply"]:
        return _said(_look(file, test)) + f", for {test}"
    with file.open("rb") as held:
        upload = File(held, name=file.name)
        delivery = show_import(test=test, upload=upload, by=person, name=file.name, apart=False)
    applied = apply_import(delivery=delivery, by=person)
    return f"{_said(delivery.planned[0])}, imported for {test} ({applied.rows} records)"


def _look(file: Path, test: Any) -> dict[str, Any]:
    """Read a file without keeping it; what stands against it is raised."""
    from teardown.cycling.models import ColumnMap
    from teardown.formats.series_preview import preview

    remembered = {m.fingerprint: m.document for m in ColumnMap.objects.all()}
    looked = preview(
        file.read_bytes(), name=file.name, remembered=remembered, iron_mass_g=test.cell.iron_mass_g
    )
    errors = [f"{r['message']} {r['remedy']}".strip() for r in looked["remarks"] if r["level"] == "error"]
    if errors:
        raise ValidationError(errors)
    return looked


def _said(planned: dict[str, Any]) -> str:
    would = planned["would"] or {}
    flagged = sum(r["level"] == "warning" for r in planned["remarks"])
    return f"{would.get('cycles', 0):.0f} cycles" + (f", {flagged} warning(s)" if flagged else "")


def _test_of(name: str, number: int | None) -> Any:
    """Find the test that a file name belongs to: the longest cell code that stands in it as a word."""
    from teardown.cells.models import Cell, Test

    words = re.split(r"[^A-Za-z0-9-]+", name.casefold())
    codes = {code.casefold(): pk for pk, code in Cell.objects.values_list("pk", "code")}
    found = [code for code in codes if any(_holds(word, code) for word in words)]
    if not found:
        raise ValidationError("No cell's code stands in its name. Rename it, e.g. CODE.csv.")
    longest = max(found, key=len)
    if sum(len(code) == len(longest) for code in found) > 1:
        raise ValidationError("The codes of several cells stand in its name.")
    tests = Test.objects.select_related("cell", "end", "protocol").filter(cell=codes[longest])
    test = tests.filter(number=number).first() if number else tests.order_by("-number").first()
    if test is None:
        raise ValidationError(f"Cell {longest.upper()} has no test{f' {number}' if number else ''}.")
    return test


def _holds(word: str, code: str) -> bool:
    """Tell whether a word is the code, or begins with it before a hyphen."""
    return word == code or word.startswith(code + "-")
