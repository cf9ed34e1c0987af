"""Functions that runs of the tests name."""

import time
from collections.abc import Iterator

from django.db import OperationalError

from teardown.files.models import Run, RunInput
from teardown.files.tasks import Beat
from teardown.science.errors import MeasurementError


class NoScale(MeasurementError):
    """The image has no scale."""

    code = "tests.E001"
    hint = "Type the width of a pixel."


def count(run: Run, beat: Beat) -> Iterator[RunInput]:
    """Find one thing."""
    beat(0.5, "counting")
    yield RunInput(run=run, role="result", subject="one thing")


def slowly(run: Run, beat: Beat) -> list[RunInput]:
    """Find one thing, after a while without a word."""
    time.sleep(run.settings["seconds"])
    return [RunInput(run=run, role="result", subject="one thing")]


def refuse(run: Run, beat: Beat) -> list[RunInput]:
    """Say no."""
    raise NoScale


def break_down(run: Run, beat: Beat) -> list[RunInput]:
    """Fail as no one foresaw."""
    return [1 / 0]  # type: ignore[list-item]


def find_it_locked(run: Run, beat: Beat) -> list[RunInput]:
    """Come at a moment when somebody else writes, and goes on writing."""
    raise OperationalError("database is locked")


def stop(run: Run, beat: Beat) -> list[RunInput]:
    """Be told to stop in the middle."""
    raise SystemExit(1)
