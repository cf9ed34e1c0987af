"""What arrives is kept bit for bit, once, and never changed."""

import errno
import hashlib
import io
import os
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError
from django.test import RequestFactory
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from teardown.files import store
from teardown.files.models import Receipt, StoredFile
from tests.makers import make_user

pytestmark = pytest.mark.django_db


def place_of(data: bytes) -> Path:
    """Give where bytes should lie."""
    digest = hashlib.sha256(data).hexdigest()
    return Path(django_settings.STORES["originals"]) / "sha256" / digest[:2] / digest[2:4] / digest


def incoming() -> list[str]:
    """Name what lies in the folder of arrivals."""
    return [path.name for path in Path(django_settings.FILE_UPLOAD_TEMP_DIR).glob("*")]


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A disk of 1 MB of its own."""
    folder = Path(tempfile.mkdtemp(prefix="teardown-small-disk-"))
    made = os.geteuid() == 0 and (
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], capture_output=True)
    )
    if not made or made.returncode:
        folder.rmdir()
        pytest.skip("a small disk can only be made by root on a system that lets root mount one")
    yield folder
    subprocess.run(["umount", folder], check=True)
    folder.rmdir()


@given(st.binary(max_size=3000))
def test_bytes_come_back_as_they_went_in(data: bytes) -> None:
    receipt = store.keep(data, by=None, name="a file")
    assert store.read(receipt.file) == b"".join(store.pieces(receipt.file)) == data
    assert receipt.file.sha256 == hashlib.sha256(data).hexdigest()
    assert receipt.file.bytes == len(data)
    assert store.verify(receipt.file) == ""


def test_the_same_bytes_are_kept_once_and_each_arrival_is_noted() -> None:
    user = make_user("bench")
    first = store.keep(b"a photograph, twice sent", by=user, name="P1000123.JPG")
    second = store.keep(b"a photograph, twice sent", by=None, name="copy of P1000123.JPG")
    assert first.file == second.file
    assert [receipt.name for receipt in Receipt.objects.filter(file=first.file).order_by("pk")] == [
        "P1000123.JPG",
        "copy of P1000123.JPG",
    ]


def test_an_original_can_be_read_and_not_written() -> None:
    store.keep(b"only to be read", by=None)
    assert place_of(b"only to be read").stat().st_mode & 0o777 == 0o440
    with pytest.raises(PermissionError, match="never deleted"):
        store.originals().delete("sha256/00")


def test_the_row_of_an_original_is_never_changed() -> None:
    receipt = store.keep(b"the row stays", by=None)
    with pytest.raises(IntegrityError, match="never changed"):
        StoredFile.objects.filter(pk=receipt.file_id).update(kind="text/html")


def test_other_bytes_than_were_sent_are_refused() -> None:
    claimed = hashlib.sha256(b"what was sent").hexdigest()
    with pytest.raises(ValidationError, match="not the bytes that were sent"):
        store.keep(b"what arrived instead", by=None, digest_claimed=claimed)
    assert not place_of(b"what arrived instead").exists()
    assert store.keep(b"what was sent", by=None, digest_claimed=claimed.upper()).file.sha256 == claimed


def test_too_many_bytes_are_refused(settings) -> None:
    settings.UPLOAD_LARGEST_BYTES = 2**20
    with pytest.raises(ValidationError, match="2 MB is more than the 1 MB allowed"):
        store.keep(bytes(2 * 2**20 + 1), by=None)


def test_nothing_is_taken_that_would_eat_the_reserve(settings) -> None:
    settings.UPLOAD_RESERVE_BYTES = 2**60
    with pytest.raises(store.NoRoom, match="Nothing was stored; free some space"):
        store.keep(b"no room for this", by=None)
    assert not place_of(b"no room for this").exists()


def test_a_full_disk_refuses_in_words_keeps_what_it_had_and_recovers(small_disk: Path, settings) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = small_disk / "incoming"
    disk = store.Originals(location=small_disk)
    kept: list[bytes] = []

    def fill() -> None:
        for number in range(100):
            data = bytes([number]) * 100_000
            disk.place(ContentFile(data), f"sha256/aa/bb/{hashlib.sha256(data).hexdigest()}")
            kept.append(data)

    with pytest.raises(OSError, match="No space left") as full:
        fill()
    assert full.value.errno == errno.ENOSPC
    assert 5 <= len(kept) < 11
    assert list((small_disk / "incoming").iterdir()) == []
    for data in kept:
        name = hashlib.sha256(data).hexdigest()
        assert (small_disk / "sha256/aa/bb" / name).read_bytes() == data
    (small_disk / "sha256/aa/bb" / hashlib.sha256(kept[0]).hexdigest()).unlink()
    disk.place(ContentFile(b"room again"), f"sha256/aa/bb/{hashlib.sha256(b'room again').hexdigest()}")


def test_a_full_disk_is_told_as_no_room(small_disk: Path, settings) -> None:
    settings.STORAGES = settings.STORAGES | {
        "originals": {"BACKEND": "teardown.files.store.Originals", "OPTIONS": {"location": small_disk}}
    }
    settings.FILE_UPLOAD_TEMP_DIR = small_disk / "incoming"
    with pytest.raises(store.NoRoom, match=r"The disk is full\. Nothing was stored"):
        store.keep(os.urandom(2 * 2**20), by=None)
    assert StoredFile.objects.count() == 0


def test_everything_is_on_the_disk_before_the_row_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    flush, move = os.fsync, os.replace

    def noted_flush(handle: int) -> None:
        order.append("flush " + ("folder" if Path(f"/proc/self/fd/{handle}").is_dir() else "file"))
        flush(handle)

    monkeypatch.setattr(os, "fsync", noted_flush)
    monkeypatch.setattr(os, "replace", lambda *names: (order.append("rename"), move(*names)))
    monkeypatch.setattr(StoredFile, "save_base", _noted(StoredFile.save_base, order))
    store.keep(os.urandom(100), by=None)
    assert order[:2] == ["flush file", "rename"]
    assert set(order[2:-1]) == {"flush folder"}
    assert order[-1] == "row"


def _noted(save, order: list[str]):
    def noted(*args, **kwargs):
        order.append("row")
        return save(*args, **kwargs)

    return noted


def test_an_upload_on_the_same_disk_is_hashed_on_its_way_and_not_copied() -> None:
    data = os.urandom(300_000)
    request = RequestFactory().post("/", {"file": SimpleUploadedFile("map.tif", data)})
    upload = request.FILES["file"]
    assert upload.sha256 == hashlib.sha256(data).hexdigest()
    before = Path(upload.temporary_file_path()).stat().st_ino
    receipt = store.keep(upload, by=None)
    assert place_of(data).stat().st_ino == before
    upload.close()
    assert store.read(receipt.file) == data
    assert incoming() == []


def test_a_damaged_copy_is_found_and_mended_by_the_same_bytes() -> None:
    receipt = store.keep(b"evidence of 2031", by=None)
    path = place_of(b"evidence of 2031")
    path.chmod(0o640)
    path.write_bytes(b"evidence of 2032")
    assert store.verify(receipt.file) == "changed"
    store.keep(b"evidence of 2031", by=None)
    assert store.verify(receipt.file) == ""
    path.unlink()
    assert store.verify(receipt.file) == "missing"


def test_many_hands_bring_the_same_bytes_at_once(tmp_path: Path, settings) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path / "incoming"
    disk, data = store.Originals(location=tmp_path), os.urandom(200_000)
    name = f"sha256/aa/bb/{hashlib.sha256(data).hexdigest()}"
    barrier, faults = threading.Barrier(8), []

    def bring() -> None:
        barrier.wait()
        try:
            disk.place(ContentFile(data), name)
        except Exception as error:  # noqa: BLE001 - whatever it is, the test shows it
            faults.append(error)

    threads = [threading.Thread(target=bring) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert (tmp_path / name).read_bytes() == data
    assert list((tmp_path / "incoming").iterdir()) == []


@given(st.text(max_size=400))
def test_any_name_is_only_text(name: str) -> None:
    receipt = store.keep(b"by many names", by=None, name=name)
    receipt.refresh_from_db()
    assert len(receipt.name) <= 255
    assert store.read(receipt.file) == b"by many names"


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "C:\\x\\y.png", "a\x00b.png", "x" * 300 + ".png", "\ud800.png", ""]
)
def test_no_name_leads_out_of_the_store(name: str) -> None:
    receipt = store.keep(b"named with malice", by=None, name=name)
    assert "\x00" not in receipt.name
    assert receipt.name
    assert receipt.file.path.startswith("sha256/")


@pytest.mark.parametrize(
    ("head", "name", "kind"),
    [
        (b"\x89PNG\r\n\x1a\n....", "x.txt", "image/png"),
        (b"II*\x00....", "x.png", "image/tiff"),
        (b"\xff\xd8\xff\xe0", "x", "image/jpeg"),
        (b"time,voltage\n", "run.CSV", "text/csv"),
        (b"10.0 200\n", "scan.xy", "text/plain"),
        (b"MZ\x00\x01", "x.png", "application/octet-stream"),
        (b"<script>", "x.png", "text/plain"),
    ],
)
def test_the_kind_is_told_by_the_bytes(head: bytes, name: str, kind: str) -> None:
    assert store.kind_of(head, name) == kind


def test_only_uploads_cut_off_long_ago_are_swept() -> None:
    folder = Path(django_settings.FILE_UPLOAD_TEMP_DIR)
    old, fresh = folder / "cut-off.upload", folder / "under-way.upload"
    old.write_bytes(b"half")
    fresh.write_bytes(b"half")
    os.utime(old, (0, 0))
    assert store.sweep(timezone.now()) == 1
    assert incoming() == ["under-way.upload"]
    fresh.unlink()


def test_bytes_without_a_row_are_listed_and_stay() -> None:
    data = os.urandom(20)
    store.originals().place(ContentFile(data), f"sha256/{place_of(data).relative_to(_root())}")
    assert place_of(data).name in {Path(name).name for name in store.unreferenced()}
    receipt = store.keep(data, by=None)
    assert receipt.file.path not in set(store.unreferenced())


def _root() -> Path:
    return Path(django_settings.STORES["originals"]) / "sha256"


def test_a_file_object_is_read_from_its_start() -> None:
    file = io.BytesIO(b"from the start")
    file.read(5)
    assert store.digest_of(file) == (hashlib.sha256(b"from the start").hexdigest(), 14)
