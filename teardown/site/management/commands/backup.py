"""Back up database and originals, checked."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from teardown.site import backups


class Command(BaseCommand):
    """Make a backup while the application goes on, or check one that was made."""

    help = "Back up the database and every original file into a folder, while the application goes on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path, help="where backups are kept; best on another disk")
        parser.add_argument(
            "--check", action="store_true", help="only read the last backup and say if it is sound"
        )

    def handle(self, *, folder: Path, check: bool, **_: Any) -> None:
        """Back up."""
        try:
            if check:
                place = backups.latest(folder)
                if wrong := backups.check(place):
                    raise CommandError(f"{place} is not sound: {'; '.join(wrong)}.")
                manifest = backups.read_manifest(place)
            else:
                place, manifest = backups.make(folder, at=timezone.now())
        except backups.Unfit as unfit:
            raise CommandError(str(unfit)) from unfit
        self.stdout.write(
            f"{place}: {len(manifest.originals)} originals and the database up to record "
            f"{manifest.record_seq}, all read again and sound."
        )
