"""What was found when a cell was opened.

``opening``: the dissection, sittings, parts, plans, cautions and signature; ``entries``: what was seen;
``photographs``: photographs and their labels; ``marks``: corners, outlines on them; ``sound``: spoken notes;
``samples``: pieces, mounts, sections, custody, orders; ``transcribed``: older records and paper; ``scoring``:
photographs looked at again; ``bench_time``: who opens what, and when; ``closing``: what stands open.
"""

from teardown.dissection.models.bench_time import BenchHours, BenchTime
from teardown.dissection.models.entries import Confirmation, Entry
from teardown.dissection.models.marks import Outline, PhotoFrame
from teardown.dissection.models.opening import (
    BenchSession,
    CautionCard,
    CautionShown,
    Check,
    Dissection,
    Instrument,
    Part,
    Plan,
    PlanItem,
    PlanTemplate,
    Signature,
)
from teardown.dissection.models.photographs import Photograph, PhotoLabel
from teardown.dissection.models.samples import Mount, Mounted, Order, Sample, Section, Transfer
from teardown.dissection.models.scoring import Score
from teardown.dissection.models.sound import AudioNote
from teardown.dissection.models.transcribed import Keying, TranscribedPage, Transcription

__all__ = [
    "AudioNote",
    "BenchHours",
    "BenchSession",
    "BenchTime",
    "CautionCard",
    "CautionShown",
    "Check",
    "Confirmation",
    "Dissection",
    "Entry",
    "Instrument",
    "Keying",
    "Mount",
    "Mounted",
    "Order",
    "Outline",
    "Part",
    "PhotoFrame",
    "PhotoLabel",
    "Photograph",
    "Plan",
    "PlanItem",
    "PlanTemplate",
    "Sample",
    "Score",
    "Section",
    "Signature",
    "TranscribedPage",
    "Transcription",
    "Transfer",
]
