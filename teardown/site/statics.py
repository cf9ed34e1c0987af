"""Collects static files when they changed, and only then."""

import hashlib
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command

from teardown import __version__

STAMP = "collected.stamp"


def fingerprint() -> str:
    """Give the digest of the release and of every static file's path, size and time."""
    digest = hashlib.sha256(__version__.encode())
    for finder in get_finders():
        for name, storage in finder.list([]):
            found = Path(storage.path(name)).stat()
            digest.update(f"{name} {found.st_size} {found.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def collect() -> bool:
    """Collect what a browser needs into the data folder; tell whether there was something to do."""
    stamp, now = Path(settings.STATIC_ROOT) / STAMP, fingerprint()
    if stamp.exists() and stamp.read_text(encoding="ascii") == now:
        return False
    call_command("collectstatic", interactive=False, verbosity=0, clear=True)
    stamp.parent.mkdir(parents=True, exist_ok=True)
    stamp.write_text(now, encoding="ascii")
    return True
