"""The invented laboratory's own clock: while its past is told, the application's clock shows that past.

Deeds and rows date themselves by ``django.utils.timezone.now``. For the time of the making, and in the
process that makes the demo alone, that function answers with the hour that is being told.
"""

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager

from django.utils import timezone


class Clock:
    """The hour that is being told; each question moves it on by a second, so that order is kept."""

    def __init__(self, start: dt.datetime) -> None:
        """Begin at an hour."""
        self.at = start

    def set(self, at: dt.datetime) -> None:
        """Tell of another hour."""
        self.at = at

    def now(self) -> dt.datetime:
        """Give the hour."""
        self.at += dt.timedelta(milliseconds=100)
        return self.at


@contextmanager
def telling(clock: Clock) -> Iterator[Clock]:
    """Let the application's clock show what ``clock`` shows while the block runs."""
    real = timezone.now
    timezone.now = clock.now
    try:
        yield clock
    finally:
        timezone.now = real
