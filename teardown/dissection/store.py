"""Seeds the caution cards that come with the application.

Seeding adds a card whose key is not there yet; what the laboratory revised stays as it is.
"""

import json
from pathlib import Path
from typing import Any

from teardown.dissection.models import CautionCard

LIST = Path(__file__).parent / "cautions.json"


def seed_cautions(**_: Any) -> int:
    """Add every listed card that is missing; give how many."""
    there = set(CautionCard.objects.values_list("key", flat=True))
    missing = [card for card in json.loads(LIST.read_text(encoding="utf-8")) if card["key"] not in there]
    CautionCard.objects.bulk_create(CautionCard(**card) for card in missing)
    return len(missing)
