"""Bring the other pages of a file whose first page was brought: each is a picture of its own."""

from collections.abc import Collection
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.dissection.store import on_disk
from teardown.imaging.actions.adding import Offered, claims_of_file
from teardown.imaging.actions.describing import tie_row
from teardown.imaging.models import Micrograph, ScaleClaim
from teardown.imaging.runs import ask_section, pages_of, tie_of
from teardown.records.actions import record

MOST_PAGES = 200


def bring_pages(*, micrograph: Micrograph, by: Any, pages: Collection[int] | None = None) -> list[Micrograph]:
    """Make a micrograph of every further page of a file that is as large as this one; have them measured.

    Smaller pages are previews or labels, and stay in the file. Pages that are here already are left alone.
    Where ``pages`` are named, counted from 0, only these are brought.

    Raises
    ------
    ValidationError
        If there is no such page.
    """
    demand(by, "micrographs.add")
    here = {one.page for one in pages_of(micrograph)}
    told = range(min(int(micrograph.metadata.get("pages", 1)), MOST_PAGES))
    asked = told if pages is None else [page for page in told if page in pages]
    headers = _headers(micrograph, [page for page in asked if page not in here])
    size = micrograph.width_px, micrograph.height_px
    wanted = {page: one for page, one in headers.items() if (one.width, one.height) == size}
    if not wanted:
        raise ValidationError("The file has no further page of this size.")
    with transaction.atomic():
        made = [_book(micrograph, page, header, by) for page, header in wanted.items()]
        payload = {"pages": sorted(wanted)}
        record(verb="brought further pages", subject=micrograph, by=by, payload=payload)
    return made


def _headers(micrograph: Micrograph, pages: list[int]) -> dict[int, Any]:
    from teardown.formats.mosaic import header_at
    from teardown.science.errors import Refusal

    found = {}
    with on_disk(micrograph.receipt.file) as path:
        for page in pages:
            try:
                found[page] = header_at(path, page=page)
            except Refusal:
                continue
    return found


def _book(first: Micrograph, page: int, header: Any, by: Any) -> Micrograph:
    made = Micrograph(
        receipt=first.receipt,
        kind=first.kind,
        page=page,
        width_px=header.width,
        height_px=header.height,
        bit_depth=header.bits,
        session=first.session,
        metadata={"about": header.about, "pages": header.pages, "strip_rows": header.strip_rows},
        by=by,
    )
    made.full_clean()
    made.save()
    claims_of_file(made, [candidate.as_dict() for candidate in header.candidates], Offered(b""))
    beside = first.scale_claims.filter(source=ScaleClaim.Source.SIDECAR) | first.scale_claims.filter(
        by__isnull=False, chosen=True
    )
    for claim in beside.order_by("pk"):
        ScaleClaim.objects.create(
            micrograph=made,
            pixel_width_um=claim.pixel_width_um,
            pixel_height_um=claim.pixel_height_um,
            source=claim.source,
            chosen=claim.chosen,
            evidence=claim.evidence,
            by=claim.by,
        )
    tied = tie_of(first)
    if tied is not None:
        tie_row(made, tied.sample, tied.section, None, "", by)
    if made.kind == Micrograph.Kind.SECTION:
        ask_section(made, by=by)
    return made
