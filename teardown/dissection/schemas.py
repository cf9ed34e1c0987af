"""What forms and tablets hand in, turned into items of the record."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError

CARRIED = ("place", "component", "sample", "certainty", "instrument", "observer")
KINDS = frozenset({"entry", "all", "amend", "withdraw", "move", "caution"})


def said_of(text: str) -> dict[str, Any]:
    """Read what a button says: ``answer:KEY``, ``state:absent``, ``extent:some``, ``value:41.18``.

    Raises
    ------
    ValidationError
        If it says nothing of the kind.
    """
    kind, _, value = text.partition(":")
    match kind:
        case "answer" | "value" if value:
            return {kind: value}
        case "state" if value in {"present", "absent", "cannot tell"}:
            return {"state": value}
        case "extent" if value:
            return {"state": "present", "extent": value}
        case "not_done" if value:
            return {"state": "not done", "not_done": value}
    raise ValidationError("Nothing was said.")


def item_of_post(post: Mapping[str, str]) -> dict[str, Any]:
    """Read one answer of a form without script."""
    said = post.get("said", "")
    item = said_of(said) if said else said_of(f"value:{post.get('value', '')}")
    item |= {name: post[name] for name in CARRIED if post.get(name)}
    if post.get("number", "").isdigit():
        item["number"] = int(post["number"])
    item["term"] = post.get("term", "")
    item["confirmed_unusual"] = post.get("twice") == "on"
    return item


def items_of_sheet(post: Mapping[str, str]) -> dict[str, list[dict[str, Any]]]:
    """Read a sheet: names are ``cell|term|component|number|place|sample``, values what was filled in.

    ``twice|…`` beside a name says that an unusual number was read twice. Gives the items cell by cell.
    """
    found: dict[str, list[dict[str, Any]]] = {}
    seen_at = post.get("observed_at", "")
    for name, value in post.items():
        parts = name.split("|")
        if len(parts) != 6 or not value.strip():
            continue
        cell, term, component, number, place, sample = parts
        try:
            said = said_of(value)
        except ValidationError:
            said = {"value": value}
        item = said | {
            "key": str(uuid.uuid5(uuid.NAMESPACE_OID, f"{post.get('form_key', uuid.uuid4())}{name}{value}")),
            "term": term,
            "component": component,
            "number": int(number or 1),
            "place": place,
            "sample": sample,
            "confirmed_unusual": post.get(f"twice|{name}") == "on",
            "observer": post.get("observer", ""),
        }
        if seen_at:
            item["observed_at"] = seen_at
        found.setdefault(cell, []).append(item)
    return found
