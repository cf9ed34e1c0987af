"""The load of the bench: what is given to whom on which day, and what comes from tests that still run."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Max, Min

from teardown.accounts.models import User
from teardown.accounts.roles import may
from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.dissection.models import BenchHours, BenchTime, Entry
from teardown.page.typesetting import as_count, number, short_day
from teardown.science.reliability import bench_load as science
from teardown.science.reliability.bench_load import Forecast, NoForecast, Week

DAYS_SHOWN = 10
WORKING_DAYS = 5
HALF = {"morning": 0.5, "afternoon": 0.5}


@dataclass(frozen=True, slots=True)
class DayLoad:
    """One working day: what is given, to whom, and how full it is."""

    day: dt.date
    given: tuple[BenchTime, ...]
    wanted_h: float
    has_h: float

    @property
    def over(self) -> bool:
        """Tell whether more is given than the bench has hours."""
        return self.wanted_h > self.has_h * 1.001

    @property
    def twice(self) -> tuple[str, ...]:
        """Name who has more than one cell in the same part of the day, or of a day with a whole one."""
        slots: dict[str, list[str]] = defaultdict(list)
        for each in self.given:
            slots[str(each.person or "")].append(each.slot)
        return tuple(
            who
            for who, parts in slots.items()
            if who and len(parts) > 1 and (len(set(parts)) < len(parts) or "whole day" in parts)
        )


@dataclass(frozen=True, slots=True)
class Running:
    """A test that runs, with its forecast or why there is none."""

    test: Test
    forecast: Forecast | None
    why: str

    def words(self, now: dt.datetime) -> str:
        """Say when it is expected to end."""
        if self.forecast is None:
            return self.why
        low, likely, high = (
            None if days is None else now + dt.timedelta(days=min(days, 3650))
            for days in (self.forecast.soonest_days, self.forecast.likely_days, self.forecast.latest_days)
        )
        assert low is not None
        assert likely is not None
        until = short_day(high, year=True) if high else "no end in sight"
        return f"about {short_day(likely, year=True)} ({short_day(low, year=True)} to {until})"


@dataclass(frozen=True, slots=True)
class Load:
    """The whole load. Forecasts rest on curves, so they are empty for those from whom curves are hidden."""

    days: tuple[DayLoad, ...]
    weeks: tuple[Week, ...]
    running: tuple[tuple[Running, str], ...]
    hours_a_cell: float
    hours_from: str
    hours_a_day: float | None
    people: tuple[User, ...]
    may_give: bool
    forecasts_shown: bool

    @property
    def sentence(self) -> str:
        """Say what the bench has, and what comes."""
        each = f"A cell takes {number(self.hours_a_cell, 1)} h ({self.hours_from})"
        if self.hours_a_day is None:
            return f"{each}; nobody has said yet how many hours the bench has a day."
        line = f"{each}; the bench has {number(self.hours_a_day, 1)} h a working day."
        if not self.weeks:
            return line
        ending, last = sum(week.ending for week in self.weeks), self.weeks[-1]
        cells = f"about {as_count(round(ending), 'test')} expected to end in {len(self.weeks)} weeks"
        left = last.waiting_h / self.hours_a_cell
        behind = (
            f"then about {as_count(round(left), 'cell')} would wait"
            if left >= 0.5
            else "then none would wait"
        )
        return f"{line} {cells[:1].upper()}{cells[1:]}; {behind}."


def load_of(user: Any, now: dt.datetime, waiting: int) -> Load:
    """Gather the load, in a fixed number of questions."""
    today = now.date()
    setting = BenchHours.objects.filter(since__lte=today).order_by("since", "pk").last()
    done = _hours_done()
    each, whence = science.hours_a_cell(done, setting.hours_a_cell if setting else None)
    has = setting.hours_a_day if setting else None
    shown = may(user, "recipes.see")
    running = _running(user, now) if shown else []
    forecasts = [one.forecast for one in running if one.forecast is not None]
    weeks = (
        science.weeks(forecasts, waiting=waiting, hours_a_cell=each, hours_a_week=has * WORKING_DAYS)
        if has and shown
        else ()
    )
    order = sorted(running, key=lambda one: one.forecast.likely_days if one.forecast else 1e9)
    return Load(
        days=tuple(_days(user, today, each, has or 0.0)),
        weeks=weeks,
        running=tuple((one, one.words(now)) for one in order),
        hours_a_cell=each,
        hours_from=whence,
        hours_a_day=has,
        people=tuple(_people()) if may(user, "bench.assign") else (),
        may_give=may(user, "bench.assign"),
        forecasts_shown=shown,
    )


def _people() -> list[User]:
    everyone = User.objects.filter(is_active=True).prefetch_related("grants").order_by("name")
    return [person for person in everyone if person.may("entries.add")]


def _hours_done() -> list[float]:
    """Give the hours from first to last entry of each opening day; what was transcribed tells none."""
    rows = (
        Entry.objects.exclude(source="transcribed")
        .filter(dissection__cell__closed_at__isnull=False)
        .values("dissection", "observed_at__date")
        .annotate(first=Min("observed_at"), last=Max("observed_at"), n=Count("pk"))
        .filter(n__gte=10)
    )
    longest: dict[int, float] = {}
    for row in rows:
        hours = (row["last"] - row["first"]).total_seconds() / 3600
        longest[row["dissection"]] = max(longest.get(row["dissection"], 0.0), hours)
    return [hours for hours in longest.values() if 0.25 <= hours <= 12]


def _days(user: Any, today: dt.date, each: float, has: float) -> list[DayLoad]:
    wanted: list[dt.date] = []
    day = today
    while len(wanted) < DAYS_SHOWN:
        if day.weekday() < WORKING_DAYS:
            wanted.append(day)
        day += dt.timedelta(days=1)
    rows = (
        BenchTime.objects.filter(day__gte=today, cell__in=Cell.objects.visible_to(user))
        .select_related("cell", "person")
        .order_by("day", "slot", "pk")
    )
    by_day: dict[dt.date, list[BenchTime]] = defaultdict(list)
    for row in rows:
        if row.day is not None:
            by_day[row.day].append(row)
    days = sorted({*wanted, *(d for d in by_day if d <= wanted[-1])})
    return [DayLoad(d, tuple(by_day[d]), len(by_day[d]) * each, has) for d in days]


def _running(user: Any, now: dt.datetime) -> list[Running]:
    tests = list(
        Test.objects.visible_to(user)
        .filter(ended_at=None)
        .select_related("cell__build__revision", "protocol__protocol")
        .order_by("pk")
    )
    ended = Test.objects.filter(
        ended_at__isnull=False, cell__build__revision__in={t.cell.build.revision_id for t in tests}
    ).select_related("cell__build", "end")
    lives: dict[int, list[float]] = defaultdict(list)
    for test in ended:
        assert test.ended_at is not None
        if test.end and not test.end.data.get("censors"):
            lives[test.cell.build.revision_id].append(
                (test.ended_at - test.started_at).total_seconds() / 86_400
            )
    latest = {s.test_id: s for s in TestSummary.objects.filter(test__in=tests).order_by("pk")}
    return [_forecast(test, latest.get(test.pk), lives[test.cell.build.revision_id], now) for test in tests]


def _forecast(test: Test, summary: TestSummary | None, lives: list[float], now: dt.datetime) -> Running:
    why = "no cycling file yet"
    if summary is not None and summary.retention is not None:
        fade = summary.metrics.get("fade_per_day") or {}
        limit = test.protocol.capacity_limit
        if limit and isinstance(fade, dict) and fade.get("value") is not None:
            try:
                found = science.forecast(
                    retention=summary.retention, limit=limit, fade_per_day=fade["value"],
                    fade_low=fade["low"], fade_high=fade["high"],
                )  # fmt: skip
                return Running(test, found, found.method)
            except NoForecast as refusal:
                why = str(refusal)
    age = (now - test.started_at).total_seconds() / 86_400
    try:
        found = science.from_sisters(age, lives)
    except NoForecast:
        return Running(test, None, why)
    return Running(test, found, found.method)
