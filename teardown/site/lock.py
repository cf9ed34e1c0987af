"""One supervisor a data folder: a lock that the system lets go of by itself, however its holder ends."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # no such locks on this system
    fcntl = None  # type: ignore[assignment]


class Taken(Exception):
    """Another process holds the lock; ``holder`` is what it wrote of itself."""

    def __init__(self, holder: dict[str, str]) -> None:
        """Keep what is known of the holder."""
        self.holder = holder
        super().__init__(f"held by process {holder.get('process', '?')}")


@contextmanager
def hold(path: Path, **about: str) -> Iterator[None]:
    """Hold the lock at ``path`` while the block runs, and leave word of who holds it.

    Raises
    ------
    Taken
        If someone else holds it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+", encoding="utf-8") as file:
        if fcntl is not None:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise Taken(holder(path)) from None
        file.seek(0)
        file.truncate()
        file.write(json.dumps({"process": str(os.getpid())} | about))
        file.flush()
        try:
            yield
        finally:
            file.seek(0)
            file.truncate()


def holder(path: Path) -> dict[str, str]:
    """Read what the holder wrote of itself, as far as there is anything."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}
