"""Seeds the caution cards that come with the application, and keeps small pictures of photographs.

Seeding adds a card whose key is not there yet; what the laboratory revised stays as it is.
"""

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile

from teardown.dissection.models import CautionCard, Photograph
from teardown.files.models import StoredFile
from teardown.files.store import Originals, derived, originals, pieces
from teardown.formats.preview import SMALL_PX, PictureFacts, draw_preview, picture_facts

LIST = Path(__file__).parent / "cautions.json"


def seed_cautions(**_: Any) -> int:
    """Add every listed card that is missing; give how many."""
    there = set(CautionCard.objects.values_list("key", flat=True))
    missing = [card for card in json.loads(LIST.read_text(encoding="utf-8")) if card["key"] not in there]
    CautionCard.objects.bulk_create(CautionCard(**card) for card in missing)
    return len(missing)


@contextmanager
def on_disk(stored: StoredFile) -> Iterator[Path]:
    """Give a path to the bytes of an original: its own, or that of a copy where the store is outside."""
    store = originals()
    if isinstance(store, Originals):
        yield Path(store.path(stored.path))
        return
    with tempfile.NamedTemporaryFile() as copy:
        for piece in pieces(stored):
            copy.write(piece)
        copy.flush()
        yield Path(copy.name)


def preview(photograph: Photograph, width_px: int) -> bytes | None:
    """Give a small picture of a photograph, drawn once in a limited child; None where none can be drawn."""
    name, store = _name(photograph.receipt.file, width_px), derived()
    if store.exists(name):
        with store.open(name) as file:
            return bytes(file.read())
    with tempfile.TemporaryDirectory(prefix="preview-") as folder, on_disk(photograph.receipt.file) as source:
        target = Path(folder) / "preview.jpg"
        if not source.exists() or not draw_preview(source, target, width_px):
            return None
        drawn = target.read_bytes()
    store.save(name, ContentFile(drawn))
    return drawn


def look_at_picture(stored: StoredFile) -> PictureFacts | None:
    """Ask the limited child how large and sharp a picture is; None for what cannot be opened as one.

    The small picture that pages show is drawn and kept by the way.
    """
    with tempfile.TemporaryDirectory(prefix="preview-") as folder, on_disk(stored) as source:
        target = Path(folder) / "preview.jpg"
        facts = picture_facts(source, target, SMALL_PX)
        if facts is not None:
            keep_small(stored, target.read_bytes())
    return facts


def keep_small(stored: StoredFile, drawn: bytes) -> None:
    """Keep the small picture of a photograph, so that the first who looks need not wait for it."""
    if not derived().exists(name := _name(stored, SMALL_PX)):
        derived().save(name, ContentFile(drawn))


def _name(stored: StoredFile, width_px: int) -> str:
    return f"photographs/{stored.sha256[:2]}/{stored.sha256}-{width_px}.jpg"
