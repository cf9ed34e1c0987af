"""Re-hash every original, walk the chain of records, see that the guards stand."""

import json
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection
from django.utils import timezone

from teardown.files import store
from teardown.files.models import StoredFile
from teardown.records import guards
from teardown.records.models import ChainHead, Record

LAST = "verified.json"


class Command(BaseCommand):
    """Say whether everything that was kept is still what it was."""

    help = (
        "Re-hash every original file and every record. Ends with 1 if anything is missing or changed. "
        "Files without a row are listed only: a stop came in between, and nobody was told they were kept."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the form of the answer."""
        parser.add_argument("--json", action="store_true", help="print one JSON document")

    def handle(self, **options: Any) -> None:
        """Check and report; leave the result in the data folder for the page Records."""
        found = self.files(quiet=options["json"]) | self.records()
        found["at"] = timezone.now().isoformat(timespec="seconds")
        found["sound"] = not (found["files"]["wrong"] or found["records"]["wrong"] or found["guards_down"])
        (settings.DATA_DIR / LAST).write_text(json.dumps(found, indent=1), encoding="utf-8")
        self.stdout.write(json.dumps(found, indent=1) if options["json"] else "\n".join(in_words(found)))
        if not found["sound"]:
            sys.exit(1)

    def files(self, *, quiet: bool) -> dict[str, Any]:
        """Re-hash each original."""
        total, wrong, size = StoredFile.objects.count(), [], 0
        for number, stored in enumerate(StoredFile.objects.order_by("pk").iterator(500), start=1):
            if problem := store.verify(stored):
                names = sorted(set(stored.receipts.values_list("name", flat=True)))
                wrong.append(
                    {"sha256": stored.sha256, "path": stored.path, "problem": problem, "names": names}
                )
            size += stored.bytes
            if not quiet and number % 500 == 0:
                self.stdout.write(f"{number} of {total} files read")
        return {
            "files": {
                "checked": total,
                "bytes": size,
                "wrong": wrong,
                "without_a_row": list(store.unreferenced()),
            }
        }

    def records(self) -> dict[str, Any]:
        """Walk the chain from its beginning, to its head."""
        wrong = [{"record": seq, "problem": problem} for seq, problem in Record.objects.all().broken()]
        last, head = Record.objects.order_by("-seq").first(), ChainHead.objects.filter(pk=1).first()
        ends = (last.seq, last.hash) if last else (0, None)
        if head is None or head.seq != ends[0] or (last is not None and head.hash != last.hash):
            wrong.append({"record": ends[0], "problem": "is not where the head of the chain points"})
        return {
            "records": {"checked": Record.objects.count(), "head": head.hash if head else "", "wrong": wrong},
            "guards_down": guards.missing(connection),
        }


def in_words(found: dict[str, Any]) -> list[str]:
    """Tell people what was found."""
    files, records = found["files"], found["records"]
    lines = [f"{files['checked']} original files, {files['bytes'] / 1e6:.1f} MB, read and hashed."]
    lines += [
        f"  {item['problem']}: {item['path']} (arrived as {', '.join(item['names']) or 'nothing'})"
        for item in files["wrong"]
    ]
    lines += [f"  without a row, kept aside: {path}" for path in files["without_a_row"]]
    lines.append(f"{records['checked']} records; head of the chain {records['head'][:16]}.")
    lines += [f"  record {item['record']} {item['problem']}" for item in records["wrong"]]
    lines += [f"  guard down: {name}" for name in found["guards_down"]]
    lines.append(
        "Everything is as it was kept." if found["sound"] else "Something is not as it was kept: see above."
    )
    return lines
