"""Tests, chambers, channels, protocols, studies."""

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.cells import actions
from teardown.cells.dossier import chambers_page, test_page
from teardown.cells.filters import TEST_ORDERS, TestFilter
from teardown.cells.forms.recipes import ChangeStudyForm, StudyForm
from teardown.cells.forms.testing import (
    AccuracyForm,
    ChamberForm,
    ChannelForm,
    EndForm,
    MoveForm,
    ProtocolForm,
    ReviseProtocolForm,
    StartForm,
)
from teardown.cells.models import Cell, Protocol, Study, Test
from teardown.page.lists import asks_for_csv, csv_answer, in_order, page_of
from teardown.page.trying import tried

ASKED = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@needs("pages.see")
def tests(request: HttpRequest) -> HttpResponseBase:
    """List tests, running and ended."""
    rows: Any = (
        Test.objects.visible_to(request.user)
        .with_seat()
        .select_related("cell__build__revision__recipe", "protocol__protocol", "end")
    )
    asked = TestFilter(request.GET, queryset=rows)
    rows = in_order(
        asked.qs if asked.is_valid() else asked.queryset.none(),
        request.GET.get("order", ""),
        TEST_ORDERS,
        "-started",
    )
    sees_recipes = may(request.user, "recipes.see")
    if asks_for_csv(request):
        heads = ("cell", "test", "recipe", "protocol", "held (C)", "chamber", "place", "channel", "started",
                 "ended", "end", "censored", "state at stop")  # fmt: skip
        return csv_answer("tests", heads, (_line(row, sees_recipes) for row in rows.iterator(500)))
    context = {
        "asked": asked,
        "page": page_of(rows, request),
        "sees_recipes": sees_recipes,
        "may_manage": may(request.user, "tests.manage"),
        "running": Test.objects.visible_to(request.user).running().count(),
    }
    return render(request, "cells/tests.html", context)


def _line(test: Any, sees_recipes: bool) -> tuple[Any, ...]:
    return (
        test.cell.code,
        test.number,
        test.cell.build.revision.recipe.code if sees_recipes else "",
        str(test.protocol),
        test.temperature_C,
        test.chamber,
        test.place,
        test.channel,
        test.started_at.isoformat(timespec="minutes"),
        test.ended_at.isoformat(timespec="minutes") if test.ended_at else "",
        test.end.words if test.end else "",
        "" if test.end is None else bool(test.end.data.get("censors")),
        test.state_at_stop,
    )


def _found(request: HttpRequest, pk: int) -> Test:
    rows = Test.objects.visible_to(request.user).select_related("cell", "protocol__protocol", "end")
    return get_object_or_404(rows, pk=pk)


def _show(request: HttpRequest, one: Test, status: int = 200, **forms: Any) -> HttpResponse:
    context = {
        "page": test_page(one),
        "may_manage": may(request.user, "tests.manage"),
        "end_form": forms.get("end_form") or EndForm(initial={"ended_at": timezone.now()}, prefix="end"),
        "move_form": forms.get("move_form") or MoveForm(initial={"moved_at": timezone.now()}, prefix="move"),
    }
    return render(request, "cells/test.html", context, status=status)


@require_safe
@needs("pages.see")
def test(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a test: where it sat, how it ended."""
    return _show(request, _found(request, pk))


@require_POST
@needs("tests.manage")
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a test with its reason."""
    one = _found(request, pk)
    form = EndForm(request.POST, prefix="end")
    if tried(form, lambda: actions.end_test(test=one, by=request.user, **form.cleaned_data)):
        messages.success(request, f"{one} is ended.")
        return redirect("test", pk)
    return _show(request, _found(request, pk), status=422, end_form=form)


@require_POST
@needs("tests.manage")
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Move a test to another place, channel or temperature."""
    one = _found(request, pk)
    form = MoveForm(request.POST, prefix="move")
    if tried(form, lambda: actions.move_seat(test=one, by=request.user, **form.cleaned_data)):
        messages.success(request, f"{one} is moved.")
        return redirect("test", pk)
    return _show(request, _found(request, pk), status=422, move_form=form)


@ASKED
@needs("tests.manage")
def start(request: HttpRequest) -> HttpResponse:
    """Put a cell on test."""
    form = StartForm(
        request.POST or None, initial={"started_at": timezone.now(), "cell": request.GET.get("cell", "")}
    )
    if request.method == "POST":
        made = tried(form, lambda: actions.start_test(by=request.user, **form.cleaned_data))
        if made:
            messages.success(request, f"{made.cell} is on test.")
            return redirect("test", made.pk)
    return render(request, "cells/start_test.html", {"form": form})


CHAMBER_FORMS = {"chamber": ChamberForm, "channel": ChannelForm, "accuracy": AccuracyForm}


@ASKED
@needs("pages.see")
def chambers(request: HttpRequest) -> HttpResponse:
    """Show chambers with who sits where, and channels with how far they may be off; add to them."""
    sent = request.POST.get("what", "")
    forms = {
        name: form(request.POST if name == sent else None, prefix=name)
        for name, form in CHAMBER_FORMS.items()
    }
    if sent in forms and tried(forms[sent], lambda: _add(sent, forms[sent], request.user)):
        messages.success(request, "It is noted.")
        return redirect("chambers")
    rooms, channels = chambers_page()
    visible = Cell.objects.visible_to(request.user)
    context = {
        "rooms": rooms,
        "channels": channels,
        "forms": forms,
        "seen": set(visible.filter(tests__ended_at=None).values_list("pk", flat=True)),
        "may_manage": may(request.user, "tests.manage"),
    }
    return render(request, "cells/chambers.html", context)


def _add(what: str, form: Any, by: Any) -> Any:
    data = dict(form.cleaned_data)
    if what == "chamber":
        places = data.pop("places").replace(",", " ").split()
        return actions.add_chamber(places=places, by=by, **data)
    if what == "channel":
        return actions.add_channel(by=by, **data)
    return actions.state_accuracy(by=by, **data)


@ASKED
@needs("pages.see")
def protocols(request: HttpRequest) -> HttpResponse:
    """List protocols; write a new one."""
    form = ProtocolForm(request.POST or None)
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.add_protocol(
                code=form.cleaned_data["code"],
                title=form.cleaned_data["title"],
                by=request.user,
                **form.content(),
            ),
        )
        if made:
            messages.success(request, f"{made} is written.")
            return redirect("protocol", made.protocol.code)
    context = {
        "protocols": Protocol.objects.annotate(n=Count("revisions")),
        "form": form,
        "may_manage": may(request.user, "tests.manage"),
    }
    return render(request, "cells/protocols.html", context)


@ASKED
@needs("pages.see")
def protocol(request: HttpRequest, code: str) -> HttpResponse:
    """Show a protocol with its revisions; make a new one."""
    one = get_object_or_404(Protocol, code=code)
    revisions = list(one.revisions.order_by("-number"))
    last = revisions[0] if revisions else None
    names = ReviseProtocolForm.base_fields
    initial: dict[str, Any] = {n: getattr(last, n) for n in names if last and hasattr(last, n)}
    if initial.get("capacity_limit") is not None:
        initial["capacity_limit"] = float(f"{initial['capacity_limit'] * 100:.15g}")
    form = ReviseProtocolForm(request.POST or None, initial=initial)
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.revise_protocol(
                protocol=one, because=form.cleaned_data["because"], by=request.user, **form.content()
            ),
        )
        if made:
            messages.success(request, f"Revision {made.number} is written.")
            return redirect("protocol", one.code)
    context = {
        "protocol": one,
        "revisions": revisions,
        "form": form,
        "may_manage": may(request.user, "tests.manage"),
    }
    return render(request, "cells/protocol.html", context)


@ASKED
@needs("pages.see")
def studies(request: HttpRequest) -> HttpResponse:
    """List named sets of cells; keep a new one."""
    form = StudyForm(request.POST or None)
    if request.method == "POST":
        made = tried(form, lambda: actions.keep_study(by=request.user, **form.cleaned_data))
        if made:
            messages.success(request, f"“{made}” is kept.")
            return redirect("study", made.pk)
    context = {
        "studies": Study.objects.annotate(n=Count("cells")),
        "form": form,
        "may_keep": may(request.user, "studies.keep"),
    }
    return render(request, "cells/studies.html", context)


@ASKED
@needs("pages.see")
def study(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Show a named set; change it."""
    one = get_object_or_404(Study, pk=pk)
    cells = (
        Cell.objects.visible_to(request.user).filter(studies=one).select_related("build__revision__recipe")
    )
    sees_recipes = may(request.user, "recipes.see")
    if asks_for_csv(request):
        rows = ((c.code, c.build.code, str(c.build.revision) if sees_recipes else "") for c in cells)
        return csv_answer(one.name, ("cell", "build", "recipe"), rows)
    form = ChangeStudyForm(
        request.POST or None,
        initial={
            "seen": one.version,
            "name": one.name,
            "note": one.note,
            "cells": "\n".join(one.cells.values_list("code", flat=True)),
        },
    )
    if request.method == "POST" and tried(
        form, lambda: actions.change_study(study=one, by=request.user, **form.cleaned_data)
    ):
        messages.success(request, f"“{one}” is changed.")
        return redirect("study", one.pk)
    one.refresh_from_db()
    context = {
        "study": one,
        "cells": cells,
        "form": form,
        "sees_recipes": sees_recipes,
        "may_keep": may(request.user, "studies.keep"),
    }
    return render(request, "cells/study.html", context)
