"""Tells of a cell that was opened while the tablet was away, and of the notebook's table brought in later."""

import csv
import datetime as dt
import io
from collections.abc import Sequence

from teardown.dissection.actions.older import apply_older, explain_older, show_older
from teardown.dissection.intake.heads import Meaning
from teardown.site.demo.clock import Clock
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story
from teardown.site.demo.traces import traces_of

HEADS = ("cell", "date", "seen by", "mass as received (g)", "iron electrode colour", "dry mass (mg)", "page")
DAYS_AFTER_END = 9


def story_of_the_notebook(stories: Sequence[Story], now: dt.datetime) -> Story | None:
    """Choose the cell: of those that wait, the one whose test ended first, if that is long enough ago."""
    waiting = [s for s in stories if s.stage == "ended" and s.ended and s.root not in {"leak", "short"}]
    waiting = [s for s in waiting if s.ended and s.ended < now - dt.timedelta(days=DAYS_AFTER_END + 2)]
    return min(waiting, key=lambda story: story.ended or now) if len(waiting) > 3 else None


def bring(lab: Lab, story: Story, clock: Clock, now: dt.datetime) -> None:
    """Tell how the second chemist brought the table in, and said what its columns are."""
    second = lab.people["second"]
    clock.set(now - dt.timedelta(hours=20))
    shown = show_older(upload=_table(story), by=second, name="notebook, autumn.csv")
    columns = {head: Meaning(**plain) for head, plain in shown.column_map["columns"].items()}
    told = explain_older(delivery=shown, by=second, columns=columns)
    assert not told.refusals, told.refusals
    apply_older(delivery=told, by=second, read_unusual=True)


def _table(story: Story) -> bytes:
    assert story.ended is not None
    chance, own = story.rng("notebook"), traces_of(story)
    day = (story.ended + dt.timedelta(days=DAYS_AFTER_END)).date()
    row = (
        story.code, f"{day:%Y-%m-%d}", "chemist", f"{41.6 - own.lost_g * chance.uniform(0.8, 1.2):.2f}",
        own.colour.replace("_", " "), f"{1700 * chance.uniform(0.97, 1.03):.0f}", "41",
    )  # fmt: skip
    out = io.StringIO()
    csv.writer(out).writerows([HEADS, row])
    return out.getvalue().encode()
