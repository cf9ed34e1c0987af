"""Make the invented Skerry Point Laboratory, and serve it."""

import datetime as dt
import os
import subprocess
import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from teardown.accounts.models import User
from teardown.files import tasks
from teardown.files.models import Run
from teardown.site import lock
from teardown.site.demo import lab, making
from teardown.site.management.commands.serve import worker_command
from teardown.site.supervisor import end_with_parent

SEED, CELLS = 3, 120
MEASURERS = 2


class Command(BaseCommand):
    """Make the invented laboratory if it is not there, then serve it while its images are measured."""

    help = (
        "Make the invented Skerry Point Laboratory in a data folder of its own and serve it. "
        "The images are measured in the background; --no-serve waits for the measurements instead of serving."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take size, seed and address."""
        parser.add_argument("--no-serve", action="store_true", help="make it, measure everything, and end")
        parser.add_argument("--cells", type=int, default=None, help=f"how many cells (default: {CELLS})")
        parser.add_argument("--seed", type=int, default=SEED, help="another seed gives another laboratory")
        parser.add_argument(
            "--host", default="127.0.0.1", help="address to listen at (default: this machine alone)"
        )
        parser.add_argument("--port", type=int, default=8000, help="port to listen at (default: 8000)")
        parser.add_argument(
            "--go-on", action="store_true", help="only go on telling what rests on measurements"
        )

    def handle(self, **options: Any) -> None:
        """Make what is missing; then measure or serve."""
        if options["go_on"]:
            making.conclude(self.say)
            return
        if options["cells"] is not None and options["cells"] < 6:
            raise CommandError("A laboratory of fewer than 6 cells has nothing to show; ask for 6 or more.")
        try:
            with lock.hold(settings.DATA_DIR / "serve.lock", address="the making of the demo"):
                self.make(options)
                if options["no_serve"]:
                    self.measure()
                    return
        except lock.Taken as taken:
            raise CommandError(
                f"Process {taken.holder.get('process', '?')} works on {settings.DATA_DIR} already "
                f"({taken.holder.get('address', 'elsewhere')}). Stop it first."
            ) from None
        self.introduce()
        call_command(
            "serve", host=options["host"], port=options["port"], stdout=self.stdout, demo=True,
        )  # fmt: skip

    def make(self, options: dict[str, Any]) -> None:
        """Make the first part of the laboratory, unless it stands already."""
        found = making.mark()
        if found is not None and found.state == "being made":
            self.say("The last making was cut short; beginning again.")
            making.throw_away_half()
            found = None
        call_command("migrate", interactive=False, verbosity=0)
        if found is not None:
            if options["cells"] not in (None, found.cells):
                self.say(
                    f"The laboratory stands already, with {found.cells} cells. For another size, "
                    f"set TEARDOWN_DATA to an empty folder or take {settings.DATA_DIR} away."
                )
            return
        if User.objects.exists():
            raise CommandError(
                f"{settings.DATA_DIR} holds a laboratory that is not the demo. The two never mix: "
                "set TEARDOWN_DATA to an empty folder."
            )
        cells, begun = options["cells"] or CELLS, time.monotonic()
        self.say(f"Inventing the Skerry Point Laboratory, {cells} cells. No cell of it ever existed.")
        now = timezone.now().replace(minute=0, second=0, microsecond=0) - dt.timedelta(hours=1)
        making.tell(cells=cells, seed=options["seed"], now=now, say=self.say)
        self.say(f"Made in {time.monotonic() - begun:.0f} s.")

    def measure(self) -> None:
        """Work off every measurement with a few processes, and tell what rests on them."""
        begun, waiting = time.monotonic(), Run.objects.filter(state=Run.State.QUEUED).count()
        self.say(f"{waiting} measurements wait; working them off with {MEASURERS} processes.")
        workers: list[subprocess.Popen[bytes]] = []
        while not making.conclude(self.say, wait=False) or _unfinished():
            workers = [worker for worker in workers if worker.poll() is None]
            if not workers and _unfinished():
                tasks.reap(timezone.now() + dt.timedelta(minutes=1))
                workers = [_worker() for _ in range(MEASURERS)]
            time.sleep(0.5)
            self.progress(begun)
        for worker in workers:
            worker.wait()
        done = Run.objects.filter(state=Run.State.DONE).count()
        failed = Run.objects.filter(state=Run.State.FAILED).count()
        self.say(
            f"{done} measurements done, {failed} refused or failed, in {time.monotonic() - begun:.0f} s."
        )

    def progress(self, begun: float) -> None:
        """Say every ten seconds how far it is."""
        if time.monotonic() - self.said < 10:
            return
        self.said = time.monotonic()
        self.say(f"  {_unfinished()} measurements to go  ({time.monotonic() - begun:.0f} s)")

    said = 0.0

    def introduce(self) -> None:
        """Say who may sign in, and how."""
        self.say(f"Sign in as {', '.join(lab.PEOPLE)}; the password of all is {lab.PASSWORD}")

    def say(self, words: str) -> None:
        """Print at once, also into a pipe."""
        self.stdout.write(words)
        self.stdout.flush()


def _unfinished() -> int:
    return Run.objects.filter(state__in=[Run.State.QUEUED, Run.State.RUNNING]).count()


def _worker() -> subprocess.Popen[bytes]:
    environment = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen(  # noqa: S603 - our own command
        [*worker_command(), "--batch"],
        env=environment,
        stdin=subprocess.DEVNULL,
        preexec_fn=end_with_parent,
    )
