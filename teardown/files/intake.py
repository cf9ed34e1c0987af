"""Unfolds what people drop on a page: many files, and zips of them."""

import zipfile
from collections.abc import Callable, Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile, File


def unfold(
    files: Iterable[File[Any]], *, wanted: Callable[[str], bool], most_members: int, most_bytes: int
) -> list[File[Any]]:
    """Give the files of a drop, with zips unfolded; of a zip only members with a wanted name.

    Raises
    ------
    ValidationError
        If a zip is damaged, holds too much, or claims sizes that it does not keep.
    """
    found: list[File[Any]] = []
    for file in files:
        if not str(file.name).lower().endswith(".zip"):
            found.append(file)
            continue
        try:
            with zipfile.ZipFile(file.file or file) as archive:
                members = [one for one in archive.infolist() if not one.is_dir() and wanted(one.filename)]
                _refuse_too_much(members, str(file.name), most_members, most_bytes)
                # reading stops at the size that the directory claims, so a lying size unfolds no further
                found += [
                    ContentFile(archive.read(one), name=one.filename.replace("\\", "/")) for one in members
                ]
        except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError) as error:
            raise ValidationError(f"{file.name} cannot be unfolded ({error}). Make the zip again.") from error
    return found


def _refuse_too_much(members: list[zipfile.ZipInfo], name: str, most_members: int, most_bytes: int) -> None:
    if len(members) > most_members:
        raise ValidationError(f"{name} holds {len(members)} files; at most {most_members} are taken at once.")
    if sum(one.file_size for one in members) > most_bytes:
        raise ValidationError(f"{name} unfolds to more than {most_bytes // 2**30} GB. Send it in parts.")
