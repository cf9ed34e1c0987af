"""Tells of counts by eye on a few sections: points, and crossings of test lines with the metal outline.

The eye is invented: it mostly sees what the computer found.
"""

import numpy as np

from teardown.accounts.models import User
from teardown.imaging.actions import add_count
from teardown.imaging.models import Count, SectionResult
from teardown.imaging.store import classes_at, crossings_of, places_of, seeds_of
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story

SHARE = 0.07  # of the cells whose sections somebody counted
NAMES = ("pore", "oxide", "metal")
SLIPS, UNSURE = 0.02, 0.03
LINES, BEYOND_PX, FEWEST = "turned", 0.8, 10


def counted(story: Story) -> bool:
    """Tell whether somebody counted on a section of this cell."""
    return bool(story.rng("counted").random() < SHARE)


def count(lab: Lab, story: Story, result: SectionResult) -> None:
    """Tell of two who counted points on one grid, blind to each other, and of one who counted crossings."""
    seed = seeds_of(result.micrograph, Count.Kind.POINTS)[-1]
    for who in ("microscopist", "reviewer"):
        _points(result, seed, lab.people[who], story.rng(f"eye of {who}"))
    _crossings(result, lab.people["microscopist"], story.rng("eye on lines"))


def _points(result: SectionResult, seed: int, by: User, eye: np.random.Generator) -> None:
    places = places_of(result.micrograph, Count.Kind.POINTS, seed, result)
    classes = classes_at(result, [(float(x), float(y)) for x, y in places])
    answers = [[*place, _seen(int(code), eye)] for place, code in zip(places, classes, strict=True)]
    add_count(micrograph=result.micrograph, kind=Count.Kind.POINTS, seed=seed, answers=answers, by=by)


def _crossings(result: SectionResult, by: User, eye: np.random.Generator) -> None:
    seed = seeds_of(result.micrograph, Count.Kind.CROSSINGS)[-1]
    rows = crossings_of(result.micrograph, seed, result, LINES)
    beyond = classes_at(result, [(x + BEYOND_PX * dx, y + BEYOND_PX * dy) for x, y, dx, dy in rows])
    answers = [
        [x, y, "oxide" if code == 1 else "cannot tell" if eye.random() < UNSURE else "pore"]
        for (x, y, *_), code in zip(rows, beyond, strict=True)
    ]
    if len(answers) >= FEWEST:
        add_count(
            micrograph=result.micrograph, kind=Count.Kind.CROSSINGS, seed=seed, answers=answers, by=by,
            lines=LINES,
        )  # fmt: skip


def _seen(code: int, eye: np.random.Generator) -> str:
    """Say what the eye sees at a point: what is there, a neighbour in grey by a slip, or the two unparted."""
    code = min(code, 2)  # brighter than metal counts as metal
    chance = eye.random()
    neighbour = 1 if code != 1 else int(eye.choice((0, 2)))
    if chance < SLIPS:
        return NAMES[neighbour]
    if chance < SLIPS + UNSURE:
        return " or ".join(NAMES[one] for one in sorted((code, neighbour)))
    return NAMES[code]
