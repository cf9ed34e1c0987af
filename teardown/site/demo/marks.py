"""Tells what was tapped and spoken at the bench: corners, points on the plate, outlines, a note by voice.

The voice is a hum: nothing that a person said was recorded for this laboratory.
"""

import datetime as dt
import io
import wave

import numpy as np

from teardown.dissection import actions as bench
from teardown.dissection.models import Dissection, Sample
from teardown.site.demo.clock import Clock
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story
from teardown.site.demo.openings import hands
from teardown.site.demo.photographs import corners_of
from teardown.site.demo.traces import traces_of

SHARE = 0.12  # of the cells whose chemist had the time for it
PIECE_MM = (5.0, 8.0)
PLATE_MM = (20.0, 30.0)
RATE_Hz, SECONDS = 8000, 1.6
GIST = "The film tears where the tweezers hold it, and smells of nothing."


def marked(story: Story) -> bool:
    """Tell whether somebody took the time to tap places on a cell's photographs."""
    return story.stage != "opened" and bool(story.rng("marked").random() < SHARE)


def point(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of the corners of face A on its photograph, a crack pointed at, the piece drawn round, a note."""
    assert story.opened is not None
    hand, _ = hands(lab, story)
    dissection = Dissection.objects.get(cell__code=story.code)
    face = dissection.photographs.filter(step="iron").order_by("pk").first()
    if face is None:
        return
    clock.set(story.opened + dt.timedelta(hours=2, minutes=40))
    corners = corners_of(_seed_of_face(story))
    bench.fix_electrode(photograph=face, corners=corners, face="A", by=hand)
    chance, friable = story.rng("point"), traces_of(story).texture in {"friable", "powder"}
    bench.log_entry(
        dissection=dissection, term="iron.finding", answer="crack_surface" if friable else "black_fines",
        place="A.M2", by=hand, x=round(0.5 + float(chance.uniform(-0.1, 0.1)), 3),
        y=round(float(chance.uniform(0.4, 0.6)), 3), certainty="sure",
    )  # fmt: skip
    piece = Sample.objects.filter(part__dissection=dissection, place="M2").order_by("pk").first()
    if piece is not None:
        bench.outline_piece(sample=piece, photograph=face, points=_around_middle(corners), by=hand)
    bench.add_audio_note(
        file=hum(story.seed), dissection=dissection, by=hand, name="note.wav", step="iron", gist=GIST,
        seconds=SECONDS,
    )  # fmt: skip


def hum(seed: int) -> bytes:
    """Make a recording in which somebody hums, as a WAVE file."""
    chance = np.random.default_rng(seed)
    time_s = np.arange(int(RATE_Hz * SECONDS)) / RATE_Hz
    pitch_Hz = chance.uniform(110, 190) * (1 + 0.05 * np.sin(2 * np.pi * 1.3 * time_s))
    loud = np.sin(np.pi * time_s / SECONDS) * 0.3
    wanted = np.sin(2 * np.pi * np.cumsum(pitch_Hz) / RATE_Hz) * loud
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_Hz)
        file.writeframes((wanted * 32767).astype("<i2").tobytes())
    return out.getvalue()


def _seed_of_face(story: Story) -> int:
    """Give the seed of the photograph of face A, the second that is taken."""
    return story.seed % 10**6 + 1


def _around_middle(corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Draw the piece round the middle of the plate, as fractions of the picture."""
    (left, top), _, (right, bottom), _ = corners
    x, y = (left + right) / 2, (top + bottom) / 2
    half_x = (right - left) * PIECE_MM[0] / PLATE_MM[0] / 2
    half_y = (bottom - top) * PIECE_MM[1] / PLATE_MM[1] / 2
    return [
        (x - half_x, y - half_y),
        (x + half_x, y - half_y),
        (x + half_x, y + half_y),
        (x - half_x, y + half_y),
    ]
