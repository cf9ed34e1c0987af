"""Seeds the vocabulary from the lists that come with the application.

Seeding adds what is missing and never touches what the laboratory changed.
"""

import datetime as dt
import json
from pathlib import Path
from typing import Any

from teardown.vocabulary.models import Term, Version

LISTS = Path(__file__).parent / "terms"
FIRST = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)


def seed(**_: Any) -> None:
    """Add the first version and every listed term that is not there yet."""
    version, _made = Version.objects.get_or_create(number=1, defaults={"since": FIRST, "note": "As shipped."})
    known = dict(Term.objects.values_list("key", "pk"))
    for path in sorted(LISTS.glob("*.json")):
        for order, item in enumerate(json.loads(path.read_text(encoding="utf-8"))):
            _add(item, order, version, known, parent=None)


def _add(
    item: dict[str, Any], order: int, version: Version, known: dict[str, int], parent: int | None
) -> None:
    fields = {name: item[name] for name in ("kind", "words", "family", "help", "data") if name in item}
    if item["key"] not in known:
        term = Term.objects.create(
            key=item["key"], order=order, asked_since=version, parent_id=parent, **fields
        )
        known[term.key] = term.pk
    for number, answer in enumerate(item.get("answers", [])):
        _add({"kind": "answer"} | answer, number, version, known, parent=known[item["key"]])
