"""Days, moments and lengths of time as they are set and as they are written."""

from datetime import date, datetime, timedelta

from teardown.page.typesetting.numbers import NARROW, in_words, number

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip


def day(when: date) -> str:
    """Set a day: "3 March 2026"."""
    return f"{when.day}{NARROW}{_MONTHS[when.month - 1]} {when.year}"


def short_day(when: date, *, year: bool = False) -> str:
    """Set a day where room is short: "3 Mar", with the year where asked."""
    return f"{when.day}{NARROW}{_MONTHS[when.month - 1][:3]}{f' {when.year}' if year else ''}"


def moment(when: datetime) -> str:
    """Set a moment: "3 Mar 2026, 05:10"."""
    return f"{short_day(when, year=True)}, {when:%H:%M}"


def duration(length: timedelta) -> str:
    """Set a length of time with its two largest units: "6 min 24 s", "9 h", "12 days 4 h"."""
    seconds = round(abs(length.total_seconds()))
    days, rest = divmod(seconds, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, seconds = divmod(rest, 60)
    units = [(days, "day" if days == 1 else "days"), (hours, "h"), (minutes, "min"), (seconds, "s")]
    first = next((i for i, (count, _) in enumerate(units) if count), 3)
    shown = [pair for pair in units[first : first + 2] if pair[0]] or [units[3]]
    return " ".join(f"{number(count, 0)}{NARROW}{unit}" for count, unit in shown)


def duration_in_words(length: timedelta) -> str:
    """Write a length of time for a sentence: "nine hours", "three days", "about four months"."""
    seconds = abs(length.total_seconds())
    sizes = (
        (365.25 * 86400, "year", 2),
        (30.44 * 86400, "month", 2),
        (86400, "day", 2),
        (3600, "hour", 1),
        (60, "minute", 1),
    )
    for size, word, least in sizes:
        if seconds >= least * size:
            count = round(seconds / size)
            about = "about " if word in ("year", "month") else ""
            return f"{about}{in_words(count)} {word}{'' if count == 1 else 's'}"
    return "less than a minute"
