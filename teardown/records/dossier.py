"""Lays a form that came too late beside the row as it stands now, so that no typed word is lost."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models

NOT_SHOWN = frozenset({"csrfmiddlewaretoken", "seen"})


@dataclass(frozen=True, slots=True)
class Side:
    """One field of the form: how it stands now, empty where the row has none such, and what was typed."""

    words: str
    now: str
    mine: str

    @property
    def differs(self) -> bool:
        """Tell whether the two are not the same."""
        return self.now != self.mine


def sides_of(row: models.Model, typed: Mapping[str, str]) -> list[Side]:
    """Lay the typed fields beside the row's, in the order of the form; secrets are left out."""
    fields = {field.name: field for field in row._meta.concrete_fields}
    sides = []
    for name, text in typed.items():
        bare = name.rpartition("-")[2]
        if bare in NOT_SHOWN or "password" in bare:
            continue
        field = fields.get(bare)
        if field is None:
            sides.append(Side(bare.replace("_", " "), "", text))
        else:
            sides.append(Side(str(field.verbose_name), _said(row, field), text))
    return sides


def _said(row: models.Model, field: Any) -> str:
    value = field.value_from_object(row)
    return "" if value is None else str(value)
