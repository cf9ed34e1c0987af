"""Originals as attachments, derived images within pages, runs and arrivals."""

from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.core.files.storage import Storage
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.http import content_disposition_header, url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

from teardown.accounts.roles import may, needs
from teardown.files import store
from teardown.files.filters import ArrivalFilter, RunFilter
from teardown.files.models import Receipt, Run, StoredFile
from teardown.files.rules import Part, Unsatisfiable, byte_range, plain_name, raster_kind, spelled_out
from teardown.page.lists import asks_for_csv, csv_answer, in_order, page_of

FOR_EVER = "private, max-age=31536000, immutable"  # the address names the content
SANDBOX = "default-src 'none'; sandbox"


@require_safe
@needs("files.see")
def original(request: HttpRequest, sha256: str) -> HttpResponseBase:
    """Hand out an original: always as an attachment, whole or a single range of it.

    Knowing a digest is no right: who may not see open cells gets the originals of closed ones alone.
    """
    stored = get_object_or_404(StoredFile, sha256=sha256)
    if not may(request.user, "cells.see_open") and not _is_shown(stored, request.user):
        raise Http404("No such file.")
    arrival = stored.receipts.order_by("-pk").first()
    try:
        answer = _bytes(request, store.originals(), stored.path, stored.bytes, f'"{sha256}"')
    except FileNotFoundError as error:
        raise Http404("The bytes of this file are missing from the store.") from error
    answer["Content-Type"] = "application/octet-stream"
    answer["Content-Disposition"] = content_disposition_header(
        True, plain_name(arrival.name if arrival else sha256)
    )
    answer["Content-Security-Policy"] = SANDBOX
    answer["Cache-Control"] = FOR_EVER
    return answer


def _is_shown(stored: StoredFile, user: Any) -> bool:
    """Tell whether a file is the original of something that this person may see: a photograph, a pattern."""
    for label, path in settings.FILES_SHOWN.items():
        rows = apps.get_model(label)._default_manager.filter(receipt__file=stored)
        rows = rows.filter(**{f"{path}__isnull": False}) if path else rows.visible_to(user)
        if rows.exists():
            return True
    return False


@require_safe
@needs("cells.see_open")
def derived(request: HttpRequest, name: str) -> HttpResponseBase:
    """Show an image that was made from originals; nothing but raster images is shown within pages."""
    shelf = store.derived()
    try:
        with shelf.open(name) as file:
            kind, size = raster_kind(file.read(16)), file.size
        mark = f'"{size}-{shelf.get_modified_time(name).timestamp():.0f}"'
    except (FileNotFoundError, IsADirectoryError, SuspiciousOperation, ValueError, OSError) as error:
        raise Http404("No such image.") from error
    if not kind:
        raise Http404("This is no image that is shown within a page.")
    answer = _bytes(request, shelf, name, size, mark)
    answer["Content-Type"] = kind
    answer["Content-Security-Policy"] = SANDBOX
    answer["Cache-Control"] = "private, max-age=3600"
    return answer


def _bytes(request: HttpRequest, shelf: Storage, name: str, size: int, mark: str) -> HttpResponseBase:
    """Answer with a file or a part of it (RFC 9110, 13 and 14)."""
    if mark in request.headers.get("If-None-Match", ""):
        return HttpResponse(status=304, headers={"ETag": mark})
    wanted = None
    if request.headers.get("If-Range", mark) == mark:
        try:
            wanted = byte_range(request.headers.get("Range", ""), size)
        except Unsatisfiable:
            return HttpResponse(
                "The file is shorter than that.", status=416, headers={"Content-Range": f"bytes */{size}"}
            )
    first, last = wanted or (0, size - 1)
    headers = {"ETag": mark, "Accept-Ranges": "bytes", "Content-Length": str(last - first + 1)}
    if wanted:
        headers["Content-Range"] = f"bytes {first}-{last}/{size}"
    file: Any = shelf.open(name)
    if request.method == "HEAD":
        file.close()
        return HttpResponse(status=206 if wanted else 200, headers=headers)
    return StreamingHttpResponse(
        Part(file, first, last - first + 1), status=206 if wanted else 200, headers=headers
    )


@require_safe
@needs("cells.see_open")
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """Say how far a run is: a piece that asks again until it is over, or a whole page."""
    one = get_object_or_404(Run, pk=pk)
    then = request.GET.get("then", "")
    if not url_has_allowed_host_and_scheme(then, allowed_hosts=None):
        then = ""
    context = {"run": one, "then": then, "poll": request.get_full_path()}
    if request.headers.get("HX-Request"):
        return render(request, "files/_run.html", context)
    context |= {
        "inputs": one.inputs.select_related("file", "source_run"),
        "settings": spelled_out(one.settings),
    }
    return render(request, "files/run.html", context)


@require_safe
@needs("cells.see_open")
def runs(request: HttpRequest) -> HttpResponseBase:
    """List runs: what waits, works, is done, failed."""
    asked = RunFilter(request.GET, queryset=Run.objects.select_related("asked_by"))
    orders = {"asked": "asked_at", "state": "state", "what": "function", "finished": "finished_at"}
    rows = in_order(
        asked.qs if asked.is_valid() else asked.queryset.none(),
        request.GET.get("order", ""),
        orders,
        "-asked",
    )
    if asks_for_csv(request):
        heads = ("run", "function", "version", "subject", "state", "asked", "finished", "error")
        return csv_answer(
            "runs",
            heads,
            (
                (r.pk, r.function, r.function_version, r.subject, r.state, r.asked_at, r.finished_at, r.error)
                for r in rows.iterator(500)
            ),
        )
    return render(request, "files/runs.html", {"asked": asked, "page": page_of(rows, request)})


@require_safe
@needs("records.read")
def arrivals(request: HttpRequest) -> HttpResponseBase:
    """List what arrived: name as given, size, digest, by whom."""
    asked = ArrivalFilter(request.GET, queryset=Receipt.objects.select_related("file", "by"))
    orders = {"at": "at", "name": "name", "size": "file__bytes"}
    rows = in_order(
        asked.qs if asked.is_valid() else asked.queryset.none(), request.GET.get("order", ""), orders, "-at"
    )
    if asks_for_csv(request):
        heads = ("arrived", "name", "bytes", "kind", "sha256", "by")
        return csv_answer(
            "arrivals",
            heads,
            (
                (r.at, r.name, r.file.bytes, r.file.kind, r.file.sha256, r.by or "")
                for r in rows.iterator(500)
            ),
        )
    return render(request, "files/arrivals.html", {"asked": asked, "page": page_of(rows, request)})
