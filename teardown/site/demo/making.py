"""Makes the invented laboratory, in the order in which its days went by, and says how far it is.

The making has two parts. The first tells what people did, up to what waits to be measured. The second waits
for the worker's measurements and tells how they were accepted, judged and signed. Both can be stopped: a
first part that was cut short is thrown away and made again, a second part goes on where it stopped.
"""

import datetime as dt
import json
import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction

from teardown import __version__
from teardown.cells.models import Cell
from teardown.files.models import Run
from teardown.records.rules import subject_of
from teardown.site.demo import (
    aftermath,
    compositions,
    fields,
    judgements,
    lab,
    marks,
    older,
    openings,
    patterns,
    photographs,
    reviews,
    sections,
    testing,
)
from teardown.site.demo.clock import Clock, telling
from teardown.site.demo.lives import Story, invent
from teardown.site.demo.photographs import Shot

MARK = "demo.json"
Say = Callable[[str], None]
FIELDS = 3


@dataclass
class Mark:
    """What a data folder says of the demo in it: being made, told, or whole."""

    state: str
    cells: int
    seed: int
    now: str
    release: str = __version__

    def write(self) -> None:
        """Leave it in the data folder, all of it or nothing."""
        path = settings.DATA_DIR / MARK
        part = path.with_suffix(".part")
        part.write_text(json.dumps(asdict(self), indent=1), encoding="utf-8")
        part.replace(path)

    @property
    def stories(self) -> list[Story]:
        """Invent the lives again, the same as they were."""
        return invent(self.cells, now=dt.datetime.fromisoformat(self.now), seed=self.seed)


def mark() -> Mark | None:
    """Read what the data folder says of a demo in it."""
    try:
        return Mark(**json.loads((settings.DATA_DIR / MARK).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None


def throw_away_half() -> None:
    """Clear a data folder of a demo that was never finished. Only ever called where the mark says so."""
    connection.close()
    for path in Path(settings.DATA_DIR).iterdir():
        if path.name in {"secret_key", "serve.lock", "static"}:
            continue
        shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
    Path(settings.FILE_UPLOAD_TEMP_DIR).mkdir(parents=True, exist_ok=True)


@dataclass(order=True)
class Event:
    """Something that somebody did, at its hour; ``rank`` orders what happened in one hour."""

    at: dt.datetime
    rank: int
    number: int
    kind: str = field(compare=False)
    tell: Callable[[], Any] = field(compare=False)


def tell(*, cells: int, seed: int, now: dt.datetime, say: Say) -> None:
    """Make the first part: everything that people did."""
    begun = time.monotonic()
    Mark("being made", cells, seed, now.isoformat()).write()
    stories = invent(cells, now=now, seed=seed)
    with _quick(), Drawn() as drawn, telling(Clock(now)) as clock:
        drawn.begin(stories, now)
        first = stories[0].built_on - dt.timedelta(days=30)
        clock.set(dt.datetime.combine(first, dt.time(8), now.tzinfo))
        known = lab.found(begins=first, cells=cells)
        patterns.calibrate_instrument(known, first + dt.timedelta(days=8))
        say(f"  founded: people, materials, recipes, chambers  ({time.monotonic() - begun:.1f} s)")
        events = sorted(_events(known, stories, clock, drawn, now))
        _run(events, clock, say, begun)
        with transaction.atomic():
            _sum_up(known, stories, clock, now)
    Mark("told", cells, seed, now.isoformat()).write()


def _sum_up(known: lab.Lab, stories: Sequence[Story], clock: Clock, now: dt.datetime) -> None:
    """Tell what was done of late over many cells at once."""
    if (written := older.story_of_the_notebook(stories, now)) is not None:
        older.bring(known, written, clock, now)
    clock.set(now - dt.timedelta(hours=4))
    reviews.tell(known, stories)
    reviews.score_again(known)
    reviews.give_bench_time(known, stories, now.date())


def _run(events: Sequence[Event], clock: Clock, say: Say, begun: float) -> None:
    """Tell the events one after the other, and how far it is at each turn of half a year."""
    counts: dict[str, int] = {}
    season = ""
    for event in events:
        current = f"{'spring' if event.at.month <= 6 else 'autumn'} of {event.at.year}"
        if season and current != season:
            say(f"  {season}: {_words(counts)}  ({time.monotonic() - begun:.1f} s)")
            counts = {}
        season = current
        clock.set(event.at)
        with transaction.atomic():
            done = event.tell()
        counts[event.kind] = counts.get(event.kind, 0) + (done if isinstance(done, int) else 1)
    say(f"  {season}: {_words(counts)}  ({time.monotonic() - begun:.1f} s)")


def _words(counts: dict[str, int]) -> str:
    return ", ".join(f"{number} {kind}" for kind, number in counts.items() if kind)


def _events(
    known: lab.Lab, stories: list[Story], clock: Clock, drawn: "Drawn", now: dt.datetime
) -> Iterator[Event]:
    number = 0

    def event(at: dt.datetime, rank: int, kind: str, what: Callable[..., Any], *arguments: Any) -> Event:
        nonlocal number
        number += 1
        return Event(at, rank, number, kind, lambda: what(known, *arguments))

    for batch in testing.builds_of(stories):
        morning = dt.datetime.combine(batch[0].built_on, dt.time(9), now.tzinfo)
        yield event(morning, 0, "builds", testing.build, batch)
    many = next((story for story in stories if story.stage in {"measured", "judged", "closed"}), None)
    for story in stories:
        if story.started:
            yield event(story.started, 1, "tests begun", testing.start, story)
            brought = story.ended + dt.timedelta(hours=2) if story.ended else now - dt.timedelta(hours=3)
            yield event(brought, 3, "histories", testing.bring_series, story)
        if story.ended:
            yield event(story.ended, 2, "tests ended", testing.end, story)
        if story.opened:
            yield from _opening(event, story, clock, drawn, many=story is many, now=now)
    for sitting in sections.sittings_of(stories, now=now):
        yield event(sitting.at, 6, "micrographs", sections.bring, sitting, clock, drawn.fields)


def _opening(
    event: Callable[..., Event], story: Story, clock: Clock, drawn: "Drawn", *, many: bool, now: dt.datetime
) -> Iterator[Event]:
    assert story.opened is not None
    opened = story.opened
    yield event(opened - dt.timedelta(hours=1), 4, "", openings.plan, story)
    whole = story.stage != "opened"
    yield event(
        opened, 5, "cells opened",
        lambda known: openings.open_up(known, story, clock, drawn.shots(story, many=many), whole=whole),
    )  # fmt: skip
    if not whole:
        return
    yield event(opened + dt.timedelta(hours=2), 5, "", aftermath.cut, story, clock)
    if marks.marked(story):
        yield event(opened + dt.timedelta(hours=2, minutes=40), 5, "", marks.point, story, clock)
    for days, what in ((1, aftermath.weigh_dry), (1.2, aftermath.amend), (2, aftermath.mount_and_polish)):
        if opened + dt.timedelta(days=days + 1) < now:
            yield event(opened + dt.timedelta(days=days), 5, "", what, story, clock)
    if story.stage != "sampled":
        yield event(opened + dt.timedelta(days=3), 5, "", aftermath.titrate, story, clock)
        yield event(
            opened + dt.timedelta(days=11), 6, "diffraction results",
            lambda known: patterns.bring(known, story, clock, drawn.pattern(story)),
        )  # fmt: skip


class Drawn:
    """Pictures and patterns, drawn ahead by other processes while the deeds are told."""

    def __enter__(self) -> "Drawn":
        """Open the workshop."""
        self.pool = ProcessPoolExecutor(max(1, (os.cpu_count() or 2) - 1), mp_context=get_context("spawn"))
        self.waiting: dict[tuple[str, str], list[tuple[Any, Future[Any]]]] = {}
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self.pool.shutdown(cancel_futures=True)

    def begin(self, stories: Sequence[Story], now: dt.datetime) -> None:
        """Order everything that will be needed, in the order of need."""
        many = next((story for story in stories if story.stage in {"measured", "judged", "closed"}), None)
        for story in sorted((s for s in stories if s.opened), key=lambda s: s.opened or now):
            shots = openings.shots_of(story, many=story is many)
            self.waiting[story.code, "shots"] = [
                (shot, self.pool.submit(photographs.draw, shot)) for shot in shots
            ]
            if story.stage in {"opened", "sampled"}:
                continue
            self.waiting[story.code, "pattern"] = [(None, self.pool.submit(compositions.result, story))]
            for place in () if aftermath.broken_in_mount(story) else ("M2", "T2"):
                if place == "M2" or aftermath.second_sample(story):
                    planned = fields.fields_of(story, place, FIELDS)
                    self.waiting[story.code, place] = [(f, self.pool.submit(fields.draw, f)) for f in planned]

    def shots(self, story: Story, *, many: bool) -> Iterator[tuple[Shot, tuple[bytes, bytes]]]:
        """Give the photographs of an opening."""
        return ((shot, future.result()) for shot, future in self.waiting.pop((story.code, "shots")))

    def fields(self, story: Story, place: str) -> list[bytes]:
        """Give the fields of a sample."""
        return [future.result() for _, future in self.waiting.pop((story.code, place))]

    def pattern(self, story: Story) -> bytes:
        """Give the diffraction result of a cell."""
        return bytes(self.waiting.pop((story.code, "pattern"))[0][1].result())


class _quick:  # noqa: N801 - used like a function
    """While the first part is made nothing is worth a flush to the disk: what is cut short is made again."""

    def __enter__(self) -> None:
        self._set("OFF")

    def __exit__(self, *_: object) -> None:
        self._set("FULL")
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _set(self, how: str) -> None:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute(f"PRAGMA synchronous={how}")


def conclude(say: Say, *, wait: bool = True, stop: Callable[[], bool] = lambda: False) -> bool:
    """Make the second part, cell by cell as their measurements are there; tell whether it is whole."""
    found = mark()
    if found is None or found.state == "being made":
        return False
    if found.state == "whole":
        return True
    known, begun = lab.find(), time.monotonic()
    left = [story for story in found.stories if story.stage in {"measured", "judged", "closed"}]
    left = sorted(left, key=lambda story: story.opened or dt.datetime.max.replace(tzinfo=dt.UTC))
    told = [story for story in left if _concluded(story)]
    left = [story for story in left if story not in told]
    while left and not stop():
        open_zeros = _zeros_not_balanced(found.stories, left)
        ready = [
            story
            for story in left
            if judgements.ready(story) and (story.time_zero or story.formula.code not in open_zeros)
        ]
        for story in ready:
            with telling(Clock(dt.datetime.fromisoformat(found.now))) as clock, transaction.atomic():
                _conclude(known, story, clock)
            left.remove(story)
        if ready:
            waiting = Run.objects.filter(state__in=[Run.State.QUEUED, Run.State.RUNNING]).count()
            say(f"  {len(ready)} more cells looked at, {len(left)} to go, {waiting} measurements wait  "
                f"({time.monotonic() - begun:.0f} s)")  # fmt: skip
        elif not wait:
            return False
        else:
            time.sleep(1)
    if left:
        return False
    Mark("whole", found.cells, found.seed, found.now).write()
    return True


def _zeros_not_balanced(stories: Sequence[Story], left: Sequence[Story]) -> set[str]:
    """Name the recipes whose time-zero cell has no balance yet: its sisters' shares rest on it."""
    zeros = {subject_of(Cell.objects.get(code=story.code)): story for story in stories if story.time_zero}
    busy = Run.objects.filter(
        function="findings.balance", subject__in=zeros, state__in=[Run.State.QUEUED, Run.State.RUNNING]
    )
    waiting = {zeros[subject].formula.code for subject in busy.values_list("subject", flat=True)}
    return waiting | {story.formula.code for story in zeros.values() if story in left}


def _conclude(known: lab.Lab, story: Story, clock: Clock) -> None:
    judgements.accept(known, story, clock)
    if story.stage in {"judged", "closed"}:
        judgements.judge_cell(known, story, clock)
    if story.stage == "closed":
        judgements.close(known, story, clock)


def _concluded(story: Story) -> bool:
    """Tell whether a cell's second part was told before: it is one transaction, so its last word tells."""
    from teardown.records.models import Record

    cell = Cell.objects.get(code=story.code)
    return Record.objects.filter(subject=subject_of(cell), verb="asked for the balance of").exists()
