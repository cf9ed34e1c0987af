"""Tells what the invented team keeps of its reviews: views, places marked, scores given again, bench time."""

import datetime as dt
from collections.abc import Iterable, Sequence
from urllib.parse import urlencode

from teardown.cells.models import Cell
from teardown.dissection.actions.bench_time import give_bench_time as give
from teardown.dissection.actions.scoring import score
from teardown.dissection.dossier.scoring import Again, ToScore, again
from teardown.dissection.models import Photograph
from teardown.review.actions import keep_view, mark_place
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story

EACH = 3  # cells of a recipe in a view
VIEWS = (
    ("Bismuth sulfide, little and much", ("R02", "R04"), "Does more of it keep the film away for longer?"),
    ("Three irons under one additive", ("R03", "R05", "R09"), "For the review of the autumn builds."),
)
SEEN = (
    ("passivation", "The dark field begins here, at the edge."),
    ("shedding", "Bare mesh: powder lay below in the case."),
)
AGAIN = ("iron.colour", "iron.cover", "separator.stain")
AGAIN_EACH = 14
WEEKEND = 5  # Saturday, as a weekday counted from Monday


def tell(lab: Lab, stories: Sequence[Story]) -> None:
    """Keep the views and mark the places, once everything before them was told."""
    opened = [s for s in stories if s.opened and s.stage != "opened" and not s.time_zero]
    by = lab.people["reviewer"]
    for name, recipes, note in VIEWS:
        codes = [code for recipe in recipes for code in _of(opened, recipe)]
        if codes:
            keep_view(name=name, query=urlencode([("cell", code) for code in codes]), note=note, by=by)
    for root, words in SEEN:
        story = next((story for story in opened if story.root == root), None)
        taken = Photograph.objects.filter(dissection__cell__code=story.code if story else "").order_by("pk")
        for picture in taken[1:2]:
            mark_place(image=picture, box=(0.42, 0.28, 0.56, 0.44), words=words, by=by)


def _of(stories: Iterable[Story], recipe: str) -> list[str]:
    return [story.code for story in stories if story.formula.code == recipe][:EACH]


def score_again(lab: Lab) -> None:
    """Tell how the second chemist scored photographs again, blind to what the first had said."""
    second = lab.people["second"]
    for key in AGAIN:
        for field in again(second, key):
            for number, pair in enumerate(field.waiting[:AGAIN_EACH]):
                score(
                    photograph=pair.photograph, first=pair.first, said=_said(field, pair, number), by=second
                )


def _said(field: Again, pair: ToScore, number: int) -> dict[str, str]:
    """Mostly the same as the first said; each fifth time something near to it, once unsure."""
    first = pair.first
    if number == AGAIN_EACH - 1:
        return {"state": "cannot tell"}
    same = {"state": first.state, "extent": first.extent, "answer": first.answer.key if first.answer else ""}
    if number % 5 != 4 or first.state != "present":
        return same
    if first.answer is None:
        return same | {"extent": "some" if first.extent == "trace" else "trace"} if first.extent else same
    others = [term.key for term in first.term.answers.all() if term.key != first.answer.key]
    return same | {"answer": others[0]} if others else same


def give_bench_time(lab: Lab, stories: Sequence[Story], today: dt.date) -> None:
    """Tell which of the waiting cells have their day and their chemist."""
    ended = [(story.ended, story.code) for story in stories if story.stage == "ended" and story.ended]
    hands = (lab.people["chemist"], lab.people["second"])
    waiting = Cell.objects.filter(code__in=[code for _, code in ended], dissection=None)
    cells = {cell.code: cell for cell in waiting}
    free = [cells[code] for _, code in sorted(ended) if code in cells]
    days = [day for n in range(1, 8) if (day := today + dt.timedelta(days=n)).weekday() < WEEKEND]
    for number, (cell, day) in enumerate(zip(free[:3], days, strict=False)):
        give(
            cell=cell, by=lab.people["lead"], person=hands[number % 2],
            day=day, slot="morning", reason="It waits longest.",
        )  # fmt: skip
