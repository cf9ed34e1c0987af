"""Serves the few faces of the two typefaces straight from the packages that carry them, under ``type/``."""

from pathlib import Path
from typing import Any

import font_source_sans_pro
import font_source_serif_pro
from django.contrib.staticfiles.finders import BaseFinder
from django.contrib.staticfiles.utils import matches_patterns
from django.core.files.storage import FileSystemStorage

FACES = {
    font_source_sans_pro: ("SourceSansPro-Regular.otf", "SourceSansPro-It.otf", "SourceSansPro-Semibold.otf"),
    font_source_serif_pro: ("SourceSerifPro-Regular.otf", "SourceSerifPro-Semibold.otf"),
}
PREFIX = "type"


def typeface_folders() -> list[Path]:
    """Tell where the packages keep their files; a typesetter of paper wants to know."""
    return [Path(package.__file__).parent / "files" for package in FACES]


class TypefaceFinder(BaseFinder):
    """Finds the faces used, and no other file of the packages."""

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        """Give the file of ``type/NAME``, or nothing."""
        prefix, _, name = path.partition("/")
        faces = zip(typeface_folders(), FACES.values(), strict=True)
        found = [str(folder / name) for folder, names in faces if prefix == PREFIX and name in names]
        return found if find_all or kwargs.get("all") else next(iter(found), [])

    def list(self, ignore_patterns: Any) -> Any:
        """List every face with the storage that holds it, for collecting."""
        for folder, names in zip(typeface_folders(), FACES.values(), strict=True):
            storage = FileSystemStorage(location=folder)
            storage.prefix = PREFIX  # type: ignore[attr-defined]
            yield from (
                (name, storage) for name in names if not matches_patterns(name, ignore_patterns or [])
            )
