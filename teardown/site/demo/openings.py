"""Tells how cells are opened: plan, sitting, cautions, what was seen and weighed, photographs."""

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from teardown.accounts.models import User
from teardown.cells.models import Cell
from teardown.dissection import actions as bench
from teardown.dissection.models import Dissection
from teardown.dissection.store import keep_small
from teardown.site.demo.cards import cards_of
from teardown.site.demo.clock import Clock
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story
from teardown.site.demo.photographs import HEIGHT, WIDTH, Shot
from teardown.site.demo.traces import traces_of

STEPS = ("arrival", "opening", "electrolyte", "iron", "rinse", "dry", "cut")
QUESTIONS = (
    "Where did the capacity go?",
    "Is the film the same at the top and at the bottom?",
    "Did the pores close, or were they never open?",
    "Is there sulfide left?",
    "Did its sister in the other chamber age the same way?",
    "How wet is the gas side?",
)
MANY = 31


def shots_of(story: Story, *, many: bool = False) -> list[Shot]:
    """Plan the photographs of an opening; ``many`` for the day on which nobody put the camera down."""
    chance, own = story.rng("photographs"), traces_of(story)
    crust = {"leak": 0.6, "carbonate_blocking": 0.1}.get(story.root, 0.02)
    spots = {"trace": 0.03, "some": 0.15, "much": 0.45, "nearly all": 0.85}[own.cover]
    cracks = 2 if own.texture in {"friable", "powder"} else int(chance.random() < 0.2)
    stain = 0.5 if own.sediment_mg > 50 else 0.12
    wet = 0.35 if story.root == "flooding" else 0.05
    face = {"colour": own.colour, "spots": spots, "cracks": cracks, "crust": 0.05}
    rows: list[tuple[float, str, str, str, str, str, dict[str, Any]]] = [
        (-14, "arrival", "case", "", "outside, front", "cell_outside", {"crust": crust, "note": "received"}),
        (5, "iron", "iron_electrode", "A", "face A, whole", "plate", face | {"note": "face A"}),
        (9, "iron", "iron_electrode", "B", "face B, whole", "plate", face | {"note": "face B"}),
        (16, "separator", "separator", "", "iron side", "sheet",
         {"stain": stain, "growth": story.root == "short", "note": "separator"}),
        (22, "air", "air_electrode", "", "gas side", "sheet",
         {"stain": wet, "growth": False, "note": "gas side"}),
    ]  # fmt: skip
    if many:
        rows += [
            (26 + 1.5 * n, "iron", "iron_electrode", f"A.{'TMB'[n % 3]}{1 + n % 3}", "close up", "plate",
             face | {"cracks": n % 3, "crust": 0.02 * (n % 4), "note": f"close up {n + 1}"})
            for n in range(MANY - len(rows))
        ]  # fmt: skip
    first = int(chance.integers(100, 9000))
    shots = []
    for n, (minutes, step, component, place, frame, how, drawn) in enumerate(rows):
        about = {"code": story.code, "seed": story.seed % 10**6 + n, **drawn}
        late = minutes + float(chance.uniform(0, 0.8))
        name = f"P{first + n:07}.JPG"
        shots.append(Shot(name, late, step, component, place, frame, how, tuple(about.items())))
    return shots


def hands(lab: Lab, story: Story) -> tuple[User, User]:
    """Say who opened a cell, and who stood beside."""
    pair = lab.people["chemist"], lab.people["second"]
    return pair if story.rng("hands").random() < 0.65 else (pair[1], pair[0])


def plan(lab: Lab, story: Story) -> None:
    """Tell of the plan of a cell, made before it was opened."""
    chance = story.rng("plan")
    count = int(chance.integers(1, 4))
    bench.make_plan(
        cell=Cell.objects.get(code=story.code),
        by=lab.people["analyst"],
        questions=[str(words) for words in chance.choice(QUESTIONS, count, replace=False)],
        items=[
            {
                "component": "iron_electrode",
                "technique": "section",
                "place": "M2",
                "purpose": "coverage and pores",
            },
            {
                "component": "iron_electrode",
                "technique": "diffraction",
                "place": "whole",
                "purpose": "phases",
            },
            {"component": "electrolyte", "technique": "titration", "purpose": "carbonate"},
        ],
    )


def open_up(
    lab: Lab, story: Story, clock: Clock, pictures: Iterable[tuple[Shot, tuple[bytes, bytes]]], *, whole: bool
) -> None:
    """Tell of the opening of a cell, minute by minute; ``whole`` unless it lies open at this hour."""
    assert story.opened is not None
    opened, (hand, other) = story.opened, hands(lab, story)
    cell = Cell.objects.get(code=story.code)
    clock.set(opened - dt.timedelta(minutes=40))
    dissection = bench.start_dissection(cell=cell, by=hand, assigned_to=hand, day=opened.date())
    sitting = bench.begin_session(by=hand, place="hood 2", atmosphere="air", day=opened.date())
    for step in STEPS[: None if whole else 4]:
        bench.show_cautions(dissection=dissection, step=step, by=hand, read=True, session=sitting)
    told = _Telling(dissection, hand, other, sitting, story, clock, opened)
    remaining = list(pictures)
    for minutes, items in cards_of(story, cell, whole=whole):
        while remaining and remaining[0][0].minutes <= minutes:
            told.photograph(*remaining.pop(0))
        told.log(minutes, items)
        if minutes < 0 <= minutes + 3:
            clock.set(opened)
            bench.open_cell(dissection=dissection, by=hand, session=sitting)
    for shot, drawn in remaining if whole else []:
        told.photograph(shot, drawn)
    if whole:
        told.scribed()
        clock.set(opened + dt.timedelta(hours=3))
        bench.end_session(session=sitting, by=hand)


@dataclass
class _Telling:
    dissection: Dissection
    hand: User
    other: User
    sitting: Any
    story: Story
    clock: Clock
    opened: dt.datetime

    def log(self, minutes: float, items: list[dict[str, Any]]) -> None:
        """Log what one card asks for."""
        self.clock.set(self.opened + dt.timedelta(minutes=minutes))
        chance = self.story.rng(f"keys {minutes}")
        keyed = [item | {"key": uuid.UUID(bytes=chance.bytes(16), version=4)} for item in items]
        outcomes = bench.log_entries(
            dissection=self.dissection, items=keyed, by=self.hand, session=self.sitting
        )
        wrong = [
            f"{item['term']}: {' '.join(o.sentences)}"
            for item, o in zip(items, outcomes, strict=True)
            if not o.kept
        ]
        if wrong:
            raise ValueError(f"{self.story.code}: {'; '.join(wrong)}")

    def photograph(self, shot: Shot, drawn: tuple[bytes, bytes]) -> None:
        """Take a photograph and label it, perhaps later; in a long day the last one stays without a label."""
        self.clock.set(self.opened + dt.timedelta(minutes=shot.minutes))
        data, small = drawn
        kept = bench.add_photograph(
            file=data, name=shot.name, dissection=self.dissection, session=self.sitting, step=shot.step,
            by=self.hand, size_px=(WIDTH, HEIGHT),
            key=uuid.UUID(bytes=self.story.rng(shot.name).bytes(16), version=4),
        )  # fmt: skip
        keep_small(kept.receipt.file, small)
        open_still = self.story.stage in {"opened", "sampled"} and shot.component == "air_electrode"
        if not open_still:
            bench.label_photograph(
                photograph=kept, component=shot.component, place=shot.place, frame=shot.frame, by=self.hand
            )

    def scribed(self) -> None:
        """Now and then the other person saw something and the first wrote it down, to be confirmed."""
        if self.story.rng("scribed").random() < 0.3:
            entry = bench.log_entry(
                dissection=self.dissection, term="note.words", by=self.hand, session=self.sitting,
                observer=self.other.username, value="The film slides when the plate is tilted.",
            )  # fmt: skip
            if self.story.stage not in {"opened", "sampled"}:
                bench.confirm(entries=[entry], by=self.other)
