"""Put a backup into an empty data folder."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from teardown.site import backups


class Command(BaseCommand):
    """Put a backup back, after reading it whole."""

    help = (
        "Put a backup into the empty data folder TEARDOWN_DATA: all of it, or nothing if a part is not sound."
    )
    requires_system_checks = ()  # they would open, and so make, the database

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument(
            "folder", type=Path, help="a folder of backups (the last one is taken), or one backup"
        )

    def handle(self, *, folder: Path, **_: Any) -> None:
        """Put back, bring up to date, verify."""
        connection.close()
        try:
            place = backups.latest(folder)
            manifest = backups.put_back(place, settings.DATA_DIR)
        except backups.Unfit as unfit:
            raise CommandError(str(unfit)) from unfit
        call_command("migrate", interactive=False, verbosity=0)
        self.stdout.write(
            f"{place} is back in {settings.DATA_DIR}: {len(manifest.originals)} originals, "
            f"records up to {manifest.record_seq}."
        )
        call_command("verify_files", stdout=self.stdout)
