"""Keep bytes: stream while hashing, flush, rename to the digest, flush the folder; only then the row.

Originals are never re-encoded, never changed, never deleted. The same bytes are kept once.
"""

import datetime as dt
import errno
import hashlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile, File
from django.core.files.storage import FileSystemStorage, Storage, storages
from django.core.files.uploadedfile import TemporaryUploadedFile, UploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.db import IntegrityError, transaction

from teardown.files.models import Receipt, StoredFile

PIECE = 2**20


class NoRoom(ValidationError):
    """The disk is nearly full: nothing is taken that could not be kept."""


class Originals(FileSystemStorage):
    """Bytes under their digest in a local folder, readable and never writable."""

    def place(self, file: File[Any], name: str) -> None:
        """Put bytes at their digest, so that a power cut leaves either the whole file or none.

        A damaged copy that is found in their place is mended by the good bytes.
        """
        target = Path(self.path(name))
        target.parent.mkdir(parents=True, exist_ok=True)
        if not (target.exists() and _sound(target)):
            coming = Path(settings.FILE_UPLOAD_TEMP_DIR)
            coming.mkdir(parents=True, exist_ok=True)
            part = coming / f"{target.name}.{os.getpid()}.{os.urandom(4).hex()}"
            try:
                _bring(file, part)
                part.chmod(0o440)
                part.replace(target)
            finally:
                part.unlink(missing_ok=True)
        # Also for bytes that were here already: another process may have put them there a moment ago.
        root = Path(self.location)
        for folder in (*target.relative_to(root).parents, Path("..")):
            _flush_folder(root / folder)

    def delete(self, name: str) -> None:
        """Refuse: originals are evidence."""
        raise PermissionError("Originals are never deleted.")

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        """Keep the name: it is the digest."""
        return name


class Derived(FileSystemStorage):
    """Files that can be made again from originals; deleting them loses nothing."""

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        """Keep the name: it holds what the file was made from."""
        return name

    def _save(self, name: str, content: File[Any]) -> str:
        """Put the file in its place whole: who makes or reads it at the same time sees no half."""
        target = Path(self.path(name))
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f".{target.name}.{os.getpid()}.{os.urandom(4).hex()}")
        with part.open("wb") as out:
            for piece in content.chunks():
                out.write(piece)
        part.replace(target)
        return name


def _sound(target: Path) -> bool:
    """Tell whether a kept file still has the bytes that its name says."""
    with target.open("rb") as file:
        return digest_of(file)[0] == target.name


def _bring(file: Any, part: Path) -> None:
    """Have the bytes at ``part``, safely on the disk: an upload that lies on the same disk is not copied."""
    try:
        os.link(file.temporary_file_path(), part)
    except (AttributeError, OSError):
        with part.open("wb") as out:
            file.seek(0)
            shutil.copyfileobj(file, out, PIECE)
    with part.open("rb") as whole:
        os.fsync(whole.fileno())


def _flush_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class _Hashed(TemporaryUploadedFile):
    """An upload whose digest is known when its last byte is."""

    sha256 = ""


class HashingUploadHandler(TemporaryFileUploadHandler):
    """Streams an upload to the store's own disk and hashes it on the way: the bytes are read once."""

    def handle_raw_input(self, *args: Any, **kwargs: Any) -> None:
        """Make sure that the folder is there before Django opens a file in it."""
        Path(settings.FILE_UPLOAD_TEMP_DIR).mkdir(parents=True, exist_ok=True)

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Begin one file."""
        super().new_file(*args, **kwargs)
        self.file = _Hashed(self.file_name or "", self.content_type, 0, self.charset, self.content_type_extra)
        self.digest = hashlib.sha256()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Take a piece."""
        self.digest.update(raw_data)
        super().receive_data_chunk(raw_data, start)

    def file_complete(self, file_size: int) -> UploadedFile[Any] | None:
        """End one file."""
        file = super().file_complete(file_size)
        if file is not None:
            file.sha256 = self.digest.hexdigest()  # type: ignore[attr-defined]
        return file


def originals() -> Storage:
    """Give the store of originals: a local folder, or an S3-compatible one by settings."""
    return storages["originals"]


def derived() -> Storage:
    """Give the store of files that can be made again."""
    return storages["derived"]


def digest_of(file: BinaryIO | File[Any]) -> tuple[str, int]:
    """Hash a file from its start; give digest and size."""
    digest, size = hashlib.sha256(), 0
    file.seek(0)
    while piece := file.read(PIECE):
        digest.update(piece)
        size += len(piece)
    file.seek(0)
    return digest.hexdigest(), size


def demand_room(size: int) -> None:
    """Refuse what the disk could not hold beside its reserve.

    Raises
    ------
    NoRoom
        With what is free and what would be needed.
    """
    free = shutil.disk_usage(settings.DATA_DIR).free
    if free < size + settings.UPLOAD_RESERVE_BYTES:
        raise NoRoom(
            f"The disk has {free // 2**20} MB left, too little to keep {max(1, size // 2**20)} MB safely. "
            "Nothing was stored; free some space and send it again."
        )


def text_of(name: str) -> str:
    """Make a sender's name into text that any database keeps: no NUL, no half characters."""
    return name.replace("\x00", "").encode("utf-8", "replace").decode() or "unnamed"


def kind_of(head: bytes, name: str) -> str:
    """Tell what bytes are by their first ones; the name decides only between kinds of text."""
    magic = [
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"\xff\xd8\xff", "image/jpeg"),
        (b"II*\x00", "image/tiff"),
        (b"MM\x00*", "image/tiff"),
        (b"II+\x00", "image/tiff"),
        (b"MM\x00+", "image/tiff"),
        (b"PK\x03\x04", "application/zip"),
        (b"PAR1", "application/vnd.apache.parquet"),
        (b"%PDF", "application/pdf"),
        (b"\x1f\x8b", "application/gzip"),
    ]
    for start, kind in magic:
        if head.startswith(start):
            return kind
    if b"\x00" not in head or head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "text/csv" if name.lower().endswith(".csv") else "text/plain"
    return "application/octet-stream"


def keep(
    upload: File[Any] | bytes,
    *,
    by: Any,
    name: str = "",
    device: Any = None,
    digest_claimed: str = "",
    facts: dict[str, Any] | None = None,
) -> Receipt:
    """Keep bytes as they came and note their arrival. No transaction may be open: file work takes its time.

    Parameters
    ----------
    upload : File or bytes
        What arrived.
    name : str
        The name as given; only ever text.
    digest_claimed : str
        The SHA-256 that the sender computed; a different one is refused.

    Raises
    ------
    ValidationError
        If the bytes are not those that were sent, are too many, or the disk is nearly full.
    """
    file = ContentFile(upload) if isinstance(upload, bytes) else upload
    sha256 = getattr(file, "sha256", "")
    sha256, size = (sha256, file.size) if sha256 else digest_of(file)
    if digest_claimed and digest_claimed.lower() != sha256:
        raise ValidationError(
            "These are not the bytes that were sent: their digest differs. Send the file again."
        )
    if size > settings.UPLOAD_LARGEST_BYTES:
        raise ValidationError(
            f"{size // 2**20} MB is more than the {settings.UPLOAD_LARGEST_BYTES // 2**20} MB allowed here."
        )
    demand_room(size)
    given = text_of(name or getattr(upload, "name", "") or "unnamed")[-255:]
    file.seek(0)
    head = file.read(4096)
    stored = StoredFile(sha256=sha256, bytes=size, kind=kind_of(head, given), facts=facts or {})
    try:
        _place(file, stored.path)
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT):
            raise
        raise NoRoom("The disk is full. Nothing was stored; free some space and send it again.") from error
    try:
        with transaction.atomic():
            stored.save()
    except IntegrityError:  # the same bytes are here already, perhaps since a moment ago
        stored = StoredFile.objects.get(sha256=sha256)
    return Receipt.objects.create(
        file=stored, name=given, by=by, device=device, digest_claimed=digest_claimed
    )


def _place(file: File[Any], path: str) -> None:
    store = originals()
    if isinstance(store, Originals):
        store.place(file, path)
    elif not store.exists(path):  # an S3-compatible store writes whole objects
        file.seek(0)
        store.save(path, file)


def read(stored: StoredFile) -> bytes:
    """Read an original whole."""
    with originals().open(stored.path) as file:
        return bytes(file.read())


def pieces(stored: StoredFile) -> Iterator[bytes]:
    """Read an original piece by piece."""
    with originals().open(stored.path) as file:
        while piece := file.read(PIECE):
            yield piece


def verify(stored: StoredFile) -> str:
    """Re-hash an original; say what is wrong with it, or nothing."""
    digest = hashlib.sha256()
    try:
        for piece in pieces(stored):
            digest.update(piece)
    except FileNotFoundError:
        return "missing"
    except OSError as error:
        return f"unreadable: {error.strerror or error}"
    return "" if digest.hexdigest() == stored.sha256 else "changed"


def unreferenced() -> Iterator[str]:
    """Name what lies in the local store of originals without a row: a stop came between the two.

    Only ever listed. Nothing is lost by such a file, and its sender was never told that it was kept.
    """
    store = originals()
    if not isinstance(store, Originals):
        return
    known = set(StoredFile.objects.values_list("sha256", flat=True))
    for path in sorted(Path(store.location).glob("sha256/*/*/*")):
        if path.name not in known:
            yield path.relative_to(store.location).as_posix()


def sweep(now: dt.datetime, *, older_h: float = 24) -> int:
    """Clear away uploads that were cut off long ago and never became originals; give how many."""
    gone = 0
    for path in Path(settings.FILE_UPLOAD_TEMP_DIR).glob("*"):
        try:
            if path.is_file() and now.timestamp() - path.stat().st_mtime > older_h * 3600:
                path.unlink()
                gone += 1
        except FileNotFoundError:  # its upload ended meanwhile
            continue
    return gone
