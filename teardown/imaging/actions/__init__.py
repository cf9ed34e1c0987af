"""What people do with micrographs: bring, tie, scale, outline, have measured, accept, reject, count."""

from teardown.imaging.actions.adding import (
    Added,
    Offered,
    Refused,
    add_micrograph,
    add_micrographs,
    apply_pictures,
    plan_pictures,
)
from teardown.imaging.actions.counting import ANSWERS, add_count
from teardown.imaging.actions.describing import claim_scale, draw_region, tie
from teardown.imaging.actions.measuring import (
    measure_again,
    measure_with_thresholds,
    name_reference,
    pin_levels,
    review,
)
from teardown.imaging.actions.remeasuring import keep_earlier, remeasure, take_up

__all__ = [
    "ANSWERS",
    "Added",
    "Offered",
    "Refused",
    "add_count",
    "add_micrograph",
    "add_micrographs",
    "apply_pictures",
    "claim_scale",
    "draw_region",
    "keep_earlier",
    "measure_again",
    "measure_with_thresholds",
    "name_reference",
    "pin_levels",
    "plan_pictures",
    "remeasure",
    "review",
    "take_up",
    "tie",
]
