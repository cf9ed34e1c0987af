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
from teardown.formats.preview import draw_preview

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
    digest = photograph.receipt.file.sha256
    name = f"photographs/{digest[:2]}/{digest}-{width_px}.jpg"
    store = derived()
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
