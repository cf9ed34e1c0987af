"""What people do with micrographs: bring, tie, scale, outline, have measured, accept, reject, count."""

from teardown.imaging.actions.adding import (
    Added,
    Offered,
    Refused,
    add_micrograph,
    add_micrographs,
)
from teardown.imaging.actions.counting import ANSWERS, LINES, add_count
from teardown.imaging.actions.describing import choose_claim, claim_scale, draw_region, tie
from teardown.imaging.actions.measuring import (
    choose_coverage,
    measure_again,
    measure_with_thresholds,
    name_reference,
    pin_levels,
    review,
)
from teardown.imaging.actions.pages import bring_pages
from teardown.imaging.actions.planning import Plan, apply_pictures, plan_pictures
from teardown.imaging.actions.remeasuring import keep_earlier, remeasure, take_up
from teardown.imaging.actions.sessions import move_back, move_session, name_session
from teardown.imaging.actions.training import (
    CLASSES,
    MISSING,
    bring_back_strokes,
    can_learn,
    keep_strokes,
    measure_by_strokes,
    train_on_strokes,
)

__all__ = [
    "ANSWERS",
    "CLASSES",
    "LINES",
    "MISSING",
    "Added",
    "Offered",
    "Plan",
    "Refused",
    "add_count",
    "add_micrograph",
    "add_micrographs",
    "apply_pictures",
    "bring_back_strokes",
    "bring_pages",
    "can_learn",
    "choose_claim",
    "choose_coverage",
    "claim_scale",
    "draw_region",
    "keep_earlier",
    "keep_strokes",
    "measure_again",
    "measure_by_strokes",
    "measure_with_thresholds",
    "move_back",
    "move_session",
    "name_reference",
    "name_session",
    "pin_levels",
    "plan_pictures",
    "remeasure",
    "review",
    "take_up",
    "tie",
    "train_on_strokes",
]
