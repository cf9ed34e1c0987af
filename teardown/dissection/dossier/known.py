"""What was known on a day: a place in the chain of records, so that an old question gives its old answer."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Max
from django.utils import timezone

from teardown.cells.intake.columns import Unread, read_day
from teardown.dissection.models import Dissection, Entry
from teardown.records.models import Record


@dataclass(frozen=True, slots=True)
class Known:
    """A day in the address, and the last record of that day; ``seq`` is None where no day is asked for."""

    text: str = ""
    day: dt.date | None = None
    seq: int | None = None
    fault: str = ""

    @classmethod
    def read(cls, text: str) -> "Known":
        """Read a day as people write it; what is none is said, and now is meant."""
        text = text.strip()
        if not text:
            return cls()
        try:
            day = read_day(text)
        except Unread as error:
            return cls(text, fault=str(error))
        end = timezone.make_aware(dt.datetime.combine(day + dt.timedelta(days=1), dt.time()))
        last = Record.objects.filter(at__lt=end).aggregate(last=Max("seq"))["last"]
        return cls(text, day, last or 0)


def known_entries(dissection: Dissection, known: Known) -> Sequence[Entry]:
    """Give the entries that counted then, in the order in which they were logged."""
    rows = dissection.entries.current() if known.seq is None else dissection.entries.as_known_at(known.seq)
    return list(rows.with_words().order_by("pk"))
