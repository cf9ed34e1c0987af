"""What the pages of micrographs show."""

from teardown.imaging.dossier.lists import rows_of
from teardown.imaging.dossier.one import MicrographPage, count_levels, page_of
from teardown.imaging.dossier.sittings import session_of

__all__ = ["MicrographPage", "count_levels", "page_of", "rows_of", "session_of"]
