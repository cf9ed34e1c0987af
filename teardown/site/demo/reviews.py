"""Tells what the invented team keeps of its reviews: views under a name, and places marked on photographs."""

from collections.abc import Iterable, Sequence
from urllib.parse import urlencode

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
