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
from teardown.imaging.actions.describing import claim_scale, draw_region, tie
from teardown.imaging.actions.measuring import ANSWERS, add_count, measure_again, pin_levels, review

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
    "measure_again",
    "pin_levels",
    "plan_pictures",
    "review",
    "tie",
]
