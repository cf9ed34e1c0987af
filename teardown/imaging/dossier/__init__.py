"""What the pages of micrographs show."""

from teardown.imaging.dossier.comparing import comparison_of
from teardown.imaging.dossier.crops import SIDE as CROP_SIDE
from teardown.imaging.dossier.crops import adjusting_of, trial_of
from teardown.imaging.dossier.lists import rows_of
from teardown.imaging.dossier.numbers import count_levels
from teardown.imaging.dossier.one import MicrographPage, page_of
from teardown.imaging.dossier.open_points import being_drawn
from teardown.imaging.dossier.remeasuring import remeasuring_of, versions_of
from teardown.imaging.dossier.sittings import session_of
from teardown.imaging.dossier.strokes import strokes_page_of

__all__ = [
    "CROP_SIDE",
    "MicrographPage",
    "adjusting_of",
    "being_drawn",
    "comparison_of",
    "count_levels",
    "page_of",
    "remeasuring_of",
    "rows_of",
    "session_of",
    "strokes_page_of",
    "trial_of",
    "versions_of",
]
