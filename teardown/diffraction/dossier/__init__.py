"""What the pages of diffraction show."""

from teardown.diffraction.dossier.instruments import InstrumentRow, instruments
from teardown.diffraction.dossier.listed import ListedPattern, rows_of
from teardown.diffraction.dossier.pattern import FitPage, PatternPage, fit_page, page_of
from teardown.diffraction.dossier.together import Together, together

__all__ = [
    "FitPage",
    "InstrumentRow",
    "ListedPattern",
    "PatternPage",
    "Together",
    "fit_page",
    "instruments",
    "page_of",
    "rows_of",
    "together",
]
