"""What was found when a cell was opened.

``opening``: the dissection, its sittings, parts, plans, cautions and signature; ``entries``: observations and
photographs; ``samples``: pieces, mounts, sections, custody, orders;
``marks``: corners and outlines on photographs; ``sound``: spoken notes.
"""

from teardown.dissection.models.entries import Confirmation, Entry, Photograph, PhotoLabel
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
from teardown.dissection.models.samples import Mount, Mounted, Order, Sample, Section, Transfer
from teardown.dissection.models.sound import AudioNote

__all__ = [
    "AudioNote",
    "BenchSession",
    "CautionCard",
    "CautionShown",
    "Check",
    "Confirmation",
    "Dissection",
    "Entry",
    "Instrument",
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
    "Section",
    "Signature",
    "Transfer",
]
