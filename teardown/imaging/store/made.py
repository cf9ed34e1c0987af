"""Files made from originals, kept until someone clears them away; losing them loses nothing."""

import tempfile
from collections.abc import Callable
from pathlib import Path

from django.core.files.base import ContentFile, File

from teardown.files.store import derived

# larger pictures are read and drawn band by band
LARGEST_WHOLE_PX = 64_000_000


def put(name: str, content: bytes) -> None:
    """Put a made file in its place."""
    derived().save(name, ContentFile(content))


def put_file(name: str, make: Callable[[Path], None]) -> None:
    """Have a large file made beside where it will lie, and put it there whole."""
    with tempfile.TemporaryDirectory(prefix="making-") as folder:
        target = Path(folder) / "made"
        make(target)
        with target.open("rb") as file:
            derived().save(name, File(file))


def get(name: str) -> bytes:
    """Give the bytes of a made file."""
    with derived().open(name) as file:
        return bytes(file.read())
