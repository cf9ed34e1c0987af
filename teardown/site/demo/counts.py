"""Tells of counts by eye on a few sections: an invented eye that mostly sees what the computer found."""

import numpy as np

from teardown.accounts.models import User
from teardown.imaging.actions import add_count
from teardown.imaging.models import Count, SectionResult
from teardown.imaging.store import classes_at, places_of, seeds_of
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story

SHARE = 0.07  # of the cells whose sections somebody counted
NAMES = ("pore", "oxide", "metal")
SLIPS, UNSURE = 0.02, 0.03


def counted(story: Story) -> bool:
    """Tell whether somebody counted on a section of this cell."""
    return bool(story.rng("counted").random() < SHARE)


def count(lab: Lab, story: Story, result: SectionResult) -> None:
    """Tell of two people who counted points on a field, on one grid, the second blind to the first."""
    seed = seeds_of(result.micrograph, Count.Kind.POINTS)[-1]
    for who in ("microscopist", "reviewer"):
        _points(result, seed, lab.people[who], story.rng(f"eye of {who}"))


def _points(result: SectionResult, seed: int, by: User, eye: np.random.Generator) -> None:
    places = places_of(result.micrograph, Count.Kind.POINTS, seed, result)
    classes = classes_at(result, [(float(x), float(y)) for x, y in places])
    answers = [[*place, _seen(int(code), eye)] for place, code in zip(places, classes, strict=True)]
    add_count(micrograph=result.micrograph, kind=Count.Kind.POINTS, seed=seed, answers=answers, by=by)


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
