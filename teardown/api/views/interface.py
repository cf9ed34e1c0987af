"""The interface for notebooks and instruments: bearer keys, tables out, files in.

Rights are those of the account that a key speaks for; the same deeds and the same queries as on the pages.
"""

from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from ninja import File, Form, NinjaAPI, Query
from ninja.errors import AuthenticationError
from ninja.errors import ValidationError as Malformed
from ninja.files import UploadedFile
from ninja.security import HttpBearer

from teardown import __version__
from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.api.actions import whose
from teardown.api.dossier import TABLES, Table, rows_of
from teardown.api.schemas import (
    CyclingIn,
    CyclingOut,
    Me,
    MicrographIn,
    MicrographOut,
    OfCell,
    Piece,
    Refused,
    RowsOut,
    TableOut,
)
from teardown.cells.models import Test
from teardown.cycling.actions import import_file
from teardown.dissection.models import Sample
from teardown.imaging.actions import Offered, add_micrographs
from teardown.page.lists import csv_answer
from teardown.science.errors import Refusal

REFUSALS: dict[int, type[Refused]] = dict.fromkeys((400, 401, 403, 404, 409, 422), Refused)


class Key(HttpBearer):
    """A bearer key (RFC 6750)."""

    def authenticate(self, request: HttpRequest, token: str) -> User | None:
        """Find whom it speaks for."""
        user: User | None = whose(token)
        if user is not None:
            request.user = user
        return user


api = NinjaAPI(
    title="Teardown",
    version=__version__,
    description="Tables for notebooks and uploads for instruments.",
    auth=Key(),
    docs_url=None,  # its pages would bring scripts that our policy does not let through
    urls_namespace="interface",
)


def refuse(request: HttpRequest, status: int, sentence: str) -> HttpResponse:
    """Answer with the reason in words."""
    return api.create_response(request, {"error": sentence}, status=status)


@api.exception_handler(AuthenticationError)
def no_key(request: HttpRequest, _error: Any) -> HttpResponse:
    """Say that a key is needed, and how it is sent."""
    answer = refuse(request, 401, "Send a key that stands, as “Authorization: Bearer …”.")
    answer["WWW-Authenticate"] = 'Bearer realm="teardown"'
    return answer


@api.exception_handler(PermissionDenied)
def not_allowed(request: HttpRequest, error: Any) -> HttpResponse:
    """Say who may."""
    return refuse(request, 403, str(error))


@api.exception_handler(Http404)
def not_there(request: HttpRequest, error: Any) -> HttpResponse:
    """Say that nothing is there."""
    return refuse(request, 404, str(error) or "Nothing is here.")


@api.exception_handler(ValidationError)
def not_valid(request: HttpRequest, error: Any) -> HttpResponse:
    """Say what the deed refused."""
    return refuse(request, 422, " ".join(error.messages))


@api.exception_handler(Refusal)
def not_read(request: HttpRequest, error: Any) -> HttpResponse:
    """Say what a reader refused."""
    return refuse(request, 422, str(error))


@api.exception_handler(Malformed)
def malformed(request: HttpRequest, error: Any) -> HttpResponse:
    """Say which part of the question is wrong."""
    said = [f"{'.'.join(map(str, one['loc']))}: {one['msg']}" for one in error.errors]
    return refuse(request, 400, "; ".join(said))


def _who(request: HttpRequest, action: str) -> User:
    demand(request.user, action)
    assert isinstance(request.user, User)
    return request.user


def _table(name: str) -> Table:
    if name not in TABLES:
        raise Http404(f"There is no table {name[:40]}; there are {', '.join(TABLES)}.")
    return TABLES[name]


def _columns(table: Table, user: User) -> list[dict[str, str]]:
    return [{"name": c.name, "unit": c.unit, "words": c.words} for c in table.columns_for(user)]


@api.get("/me", response={200: Me, **REFUSALS}, summary="Whom this key speaks for")
def me(request: HttpRequest) -> dict[str, Any]:
    """Give the name and roles of the account."""
    user = request.user
    assert isinstance(user, User)
    return {"name": user.name, "roles": sorted(user.roles)}


@api.get("/tables", response={200: list[TableOut], **REFUSALS}, summary="Which tables there are")
def tables(request: HttpRequest) -> list[dict[str, Any]]:
    """List the tables with their columns and units."""
    user = _who(request, "questions.ask")
    return [{"name": t.name, "words": t.words, "columns": _columns(t, user)} for t in TABLES.values()]


@api.get("/tables/{name}", response={200: RowsOut, **REFUSALS}, summary="A piece of a table")
def rows(
    request: HttpRequest,
    name: str,
    piece: Query[Piece],
) -> dict[str, Any]:
    """Give rows ``first`` to ``first + most`` of a table, perhaps of one cell only."""
    user = _who(request, "questions.ask")
    table = _table(name)
    found = list(rows_of(table, user, cell=_plain(piece.cell), first=piece.first, most=piece.most + 1))
    return {
        "table": name,
        "columns": _columns(table, user),
        "rows": [list(row) for row in found[: piece.most]],
        "next": piece.first + piece.most if len(found) > piece.most else None,
    }


@api.get("/tables/{name}/csv", response={**REFUSALS}, summary="A whole table as CSV")
def rows_csv(request: HttpRequest, name: str, of: Query[OfCell]) -> Any:
    """Give a whole table as CSV, line by line; units stand in the heads."""
    user = _who(request, "questions.ask")
    table = _table(name)
    heads = [f"{c.name} ({c.unit})" if c.unit else c.name for c in table.columns_for(user)]
    return csv_answer(name, heads, rows_of(table, user, cell=_plain(of.cell)).iterator(1000))


def _plain(text: str) -> str:
    return text.replace("\x00", "").strip()


def _checked(upload: Any, claimed: str) -> None:
    """Refuse bytes that are not those the sender hashed, before anything is kept of them."""
    if claimed and claimed.lower() != getattr(upload, "sha256", ""):
        raise ValidationError("These are not the bytes that were sent: their digest differs. Send it again.")


@api.post("/cells/{code}/cycling", response={200: CyclingOut, **REFUSALS}, summary="Send a cycling file")
def cycling(
    request: HttpRequest,
    code: str,
    file: File[UploadedFile],
    told: Form[CyclingIn],
) -> Any:
    """Take a cycling file into the history of a test and have it summed up in the background."""
    user = _who(request, "cycling.import")
    _checked(file, told.sha256)
    tests = Test.objects.filter(cell__code__iexact=_plain(code)).order_by("-number")
    found = tests.filter(number=told.test).first() if told.test else tests.first()
    if found is None:
        raise Http404(f"There is no {'such ' if told.test else ''}test of a cell {code[:40]}.")
    taken = import_file(test=found, upload=file, by=user, name=file.name or "")
    return {
        "file": taken.pk,
        "sha256": taken.receipt.file.sha256,
        "rows": taken.rows,
        "problems": taken.problems,
    }


@api.post("/micrographs", response={200: MicrographOut, **REFUSALS}, summary="Send a micrograph")
def micrograph(
    request: HttpRequest,
    file: File[UploadedFile],
    told: Form[MicrographIn],
) -> Any:
    """Keep a micrograph as it came and have it measured in the background."""
    user = _who(request, "micrographs.add")
    _checked(file, told.sha256)
    of = None
    if code := _plain(told.sample):
        of = Sample.objects.filter(code__iexact=code).first()
        if of is None:
            raise Http404(f"There is no sample {code}.")
    offered = Offered(file, file.name or "", sample=of, pixel_size_um=told.pixel_size_um or None)
    added = add_micrographs(offered=[offered], by=user)
    if added.refused:
        raise ValidationError(added.refused[0].reason)
    kept = [*added.micrographs, *added.known][0]
    return {"micrograph": kept.pk, "sha256": kept.receipt.file.sha256, "known": bool(added.known)}
