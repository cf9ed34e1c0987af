"""What a reviewer does: keeps a view."""

from typing import Any

from django.db import transaction

from teardown.accounts.roles import demand
from teardown.records.actions import record
from teardown.review.models import KeptView


def keep_view(*, name: str, query: str, note: str = "", by: Any) -> KeptView:
    """Keep a set of cells side by side under a name."""
    demand(by, "studies.keep")
    with transaction.atomic():
        view = KeptView(name=name, query=query, note=note, by=by)
        view.full_clean()
        view.save()
        record(verb="kept", subject=view, by=by, payload={"name": name, "query": query})
    return view
