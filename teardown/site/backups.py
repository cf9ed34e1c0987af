"""Backups that are checked when they are made, and again before they are put back.

A backup folder holds ``originals/`` (each file once, whatever the number of backups) and one folder a backup
with the database and a manifest. The database is taken first, the files after it: so no row lacks its file.
"""

import hashlib
import json
import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path

from django.db import connection

from teardown import __version__
from teardown.files import store
from teardown.files.models import StoredFile
from teardown.records.models import ChainHead

DATABASE, MANIFEST, ORIGINALS = "teardown.sqlite3", "manifest.json", "originals"
_NAME = re.compile(r"\d{8}T\d{6}Z")


class Unfit(Exception):
    """A backup cannot be made or put back as asked; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What one backup holds."""

    at: str
    release: str
    database_sha256: str
    record_seq: int
    record_hash: str
    originals: dict[str, int] = field(default_factory=dict)


def make(folder: Path, *, at: datetime) -> tuple[Path, Manifest]:
    """Back up database and originals into a folder; read everything again before saying that it is done."""
    if connection.vendor != "sqlite":
        raise Unfit(
            "This database is not a file of ours: back it up with the tools of its server (pg_dump), "
            "and the originals by copying their folder or bucket. Take the database first."
        )
    place = folder / at.strftime("%Y%m%dT%H%M%SZ")
    place.mkdir(parents=True)
    _copy_database(place / DATABASE)
    wanted = _originals_named_in(place / DATABASE)
    for digest in wanted:
        _copy_original(digest, folder / ORIGINALS)
    seq, head = _head_of(place / DATABASE)
    manifest = Manifest(at.isoformat(), __version__, _digest(place / DATABASE), seq, head, wanted)
    (place / MANIFEST).write_text(json.dumps(asdict(manifest), indent=1), encoding="utf-8")
    if wrong := check(place):
        raise Unfit(f"The backup at {place} did not stand its check: {'; '.join(wrong[:5])}.")
    return place, manifest


def check(place: Path) -> list[str]:
    """Read a backup whole and say what is wrong with it."""
    manifest = read_manifest(place)
    wrong = []
    if not (place / DATABASE).exists() or _digest(place / DATABASE) != manifest.database_sha256:
        wrong.append("the database is missing or changed")
    for digest in manifest.originals:
        path = place.parent / ORIGINALS / path_of(digest)
        if not path.exists():
            wrong.append(f"original {digest[:16]} is missing")
        elif _digest(path) != digest:
            wrong.append(f"original {digest[:16]} is changed")
    return wrong


def put_back(place: Path, data: Path) -> Manifest:
    """Put a backup into an empty data folder, after reading it whole."""
    if (data / DATABASE).exists():
        raise Unfit(f"{data} holds a database already. Put the backup into an empty folder (TEARDOWN_DATA).")
    if wrong := check(place):
        raise Unfit(f"The backup at {place} is not sound: {'; '.join(wrong[:5])}. Nothing was put back.")
    manifest = read_manifest(place)
    for digest in manifest.originals:
        _copy(place.parent / ORIGINALS / path_of(digest), data / ORIGINALS / path_of(digest), mode=0o440)
    _copy(place / DATABASE, data / DATABASE, mode=0o640)  # last: with the database in place all is there
    return manifest


def latest(folder: Path) -> Path:
    """Find the last backup in a folder, or take the folder itself if it is one."""
    if (folder / MANIFEST).exists():
        return folder
    found = sorted(
        path for path in folder.glob("*") if _NAME.fullmatch(path.name) and (path / MANIFEST).exists()
    )
    if not found:
        raise Unfit(f"There is no backup in {folder}.")
    return found[-1]


def read_manifest(place: Path) -> Manifest:
    """Read what a backup says of itself."""
    try:
        return Manifest(**json.loads((place / MANIFEST).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as error:
        raise Unfit(f"{place / MANIFEST} is no manifest of a backup: {error}") from error


def path_of(digest: str) -> str:
    """Give where an original of this digest lies."""
    return f"sha256/{digest[:2]}/{digest[2:4]}/{digest}"


def _copy_database(target: Path) -> None:
    connection.ensure_connection()
    with closing(sqlite3.connect(target)) as copy:
        connection.connection.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, complete in itself


def _originals_named_in(database: Path) -> dict[str, int]:
    with closing(sqlite3.connect(database)) as copy:
        table = StoredFile._meta.db_table
        return dict(copy.execute(f'SELECT sha256, bytes FROM "{table}" ORDER BY sha256').fetchall())  # noqa: S608


def _head_of(database: Path) -> tuple[int, str]:
    with closing(sqlite3.connect(database)) as copy:
        row = copy.execute(f'SELECT seq, hash FROM "{ChainHead._meta.db_table}"').fetchone()  # noqa: S608
    return (int(row[0]), str(row[1])) if row else (0, "")


def _copy_original(digest: str, folder: Path) -> None:
    target = folder / path_of(digest)
    if target.exists() and _digest(target) == digest:
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{digest}.part")
    with store.originals().open(path_of(digest)) as source, part.open("wb") as out:
        shutil.copyfileobj(source, out, store.PIECE)
    part.chmod(0o440)
    part.replace(target)


def _copy(source: Path, target: Path, *, mode: int) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{target.name}.part")
    shutil.copyfile(source, part)
    part.chmod(mode)
    part.replace(target)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
