"""Everything that was ever said in the place of one entry, from the first to what counts now."""

from dataclasses import dataclass

from teardown.dissection.models import Entry


@dataclass(frozen=True, slots=True)
class Told:
    """One state of an entry: the entry, whether something superseded it, how late it was entered."""

    entry: Entry
    struck: bool
    late: str


def history_of(entry: Entry) -> tuple[Told, ...]:
    """Follow an entry back to the first and on to all that superseded it."""
    chain = {entry.pk}
    first = entry
    while first.supersedes_id is not None:
        first = Entry.objects.get(pk=first.supersedes_id)
        chain.add(first.pk)
    frontier = set(chain)
    while frontier:
        frontier = set(Entry.objects.filter(supersedes__in=frontier).values_list("pk", flat=True)) - chain
        chain |= frontier
    rows = list(
        Entry.objects.filter(pk__in=chain)
        .with_words()
        .select_related("record__actor", "reason", "moved_from__dissection__cell")
        .order_by("pk")
    )
    superseded = {row.supersedes_id for row in rows}
    return tuple(
        Told(row, row.pk in superseded or row.state == Entry.State.WITHDRAWN, _late(row)) for row in rows
    )


def _late(entry: Entry) -> str:
    seconds = entry.late_by.total_seconds()
    if seconds < 3600:
        return ""
    hours = seconds / 3600
    words = f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"
    source = " from a photograph" if entry.source == Entry.Source.PHOTO else ""
    return f"entered {words} later{source}"
