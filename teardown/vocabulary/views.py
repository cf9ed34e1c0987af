"""The vocabulary: its lists, its terms, its versions."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.page.lists import asks_for_csv, csv_answer
from teardown.page.trying import tried
from teardown.vocabulary import actions
from teardown.vocabulary.dossier import facts_of, grouped_terms, lists, newest
from teardown.vocabulary.forms import FORMS, AnswerForm, RetireForm, RewordForm, TermForm
from teardown.vocabulary.models import Term, Version
from teardown.vocabulary.rules import FIXED, may_be_retired

ASKED = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@needs("pages.see")
def vocabulary(request: HttpRequest) -> HttpResponseBase:
    """Show the lists of words and the versions that they went through."""
    if asks_for_csv(request):
        heads = (
            "key",
            "list",
            "words",
            "family",
            "asked since version",
            "retired",
            "merged into",
            "explanation",
        )
        rows: Any = Term.objects.select_related("asked_since", "merged_into").order_by("kind", "order", "pk")
        return csv_answer(
            "vocabulary",
            heads,
            (
                (t.key, t.get_kind_display(), t.words, t.family, t.asked_since.number, t.retired_at,
                 t.merged_into.key if t.merged_into else "", t.help)
                for t in rows.iterator(500)
            ),
        )  # fmt: skip
    context = {"lists": lists(), "versions": Version.objects.order_by("-number")[:100], "newest": newest()}
    return render(request, "vocabulary/vocabulary.html", context)


@ASKED
@needs("pages.see")
def words(request: HttpRequest, kind: str) -> HttpResponse:
    """Show one list of words; add to it."""
    if kind not in Term.Kind.values or kind == Term.Kind.ANSWER:
        raise Http404("There is no such list.")
    may_edit = may(request.user, "vocabulary.edit") and kind not in FIXED
    form = FORMS.get(kind, TermForm)(request.POST or None)
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.new_term(
                kind=kind,
                words=form.cleaned_data["words"],
                explanation=form.cleaned_data["explanation"],
                reason=form.cleaned_data["reason"],
                family=form.family_name,
                data=form.data_of_kind(),
                answers=form.answers(),
                by=request.user,
            ),
        )
        if made:
            messages.success(request, f"“{made}” is asked from version {made.asked_since.number} on.")
            return redirect("term", made.key)
    context = {
        "kind": Term.Kind(kind),
        "groups": grouped_terms(kind),
        "form": form,
        "may_edit": may_edit,
        "fixed": kind in FIXED,
    }
    return render(request, "vocabulary/words.html", context)


def _found(key: str) -> Term:
    return get_object_or_404(Term.objects.select_related("asked_since", "merged_into", "parent"), key=key)


def _show(request: HttpRequest, one: Term, **forms: Any) -> HttpResponse:
    seen = newest()
    context = {
        "term": one,
        "facts": facts_of(one),
        "answers": one.answers.select_related("asked_since").order_by("order", "pk"),
        "kept_because": may_be_retired(one.kind, one.key),
        "may_edit": may(request.user, "vocabulary.edit"),
        "reword_form": forms.get("reword")
        or RewordForm(initial={"seen": seen, "words": one.words, "explanation": one.help}, prefix="reword"),
        "retire_form": forms.get("retire") or RetireForm(initial={"seen": seen}, term=one, prefix="retire"),
        "answer_form": forms.get("answer") or AnswerForm(prefix="answer"),
        "takes_answers": one.kind == Term.Kind.FIELD and one.data.get("kind") == "choice",
    }
    return render(request, "vocabulary/term.html", context, status=422 if forms else 200)


@require_safe
@needs("pages.see")
def term(request: HttpRequest, key: str) -> HttpResponse:
    """Show a term: since when it is asked, its answers, what became of it."""
    return _show(request, _found(key))


@require_POST
@needs("vocabulary.edit")
def reword(request: HttpRequest, key: str) -> HttpResponse:
    """Give a term other words."""
    one, form = _found(key), RewordForm(request.POST, prefix="reword")
    if tried(form, lambda: actions.reword_term(term=one, by=request.user, **form.cleaned_data)):
        messages.success(request, "The words are changed; the key and what was said with it stay.")
        return redirect("term", key)
    return _show(request, _found(key), reword=form)


@require_POST
@needs("vocabulary.edit")
def retire(request: HttpRequest, key: str) -> HttpResponse:
    """Ask a term no more, or use another in its place."""
    one = _found(key)
    form = RetireForm(request.POST, term=one, prefix="retire")

    def deed() -> Term:
        data = dict(form.cleaned_data)
        into = data.pop("into")
        if into:
            return actions.merge_terms(term=one, into=into, by=request.user, **data)
        return actions.retire_term(term=one, by=request.user, **data)

    if tried(form, deed):
        messages.success(request, f"“{one}” is asked no more; what was said with it stays.")
        return redirect("term", key)
    return _show(request, _found(key), retire=form)


@require_POST
@needs("vocabulary.edit")
def answer(request: HttpRequest, key: str) -> HttpResponse:
    """Add an answer to a question."""
    one, form = _found(key), AnswerForm(request.POST, prefix="answer")
    if tried(
        form,
        lambda: actions.new_term(kind=Term.Kind.ANSWER, parent=one, by=request.user, **form.cleaned_data),
    ):
        messages.success(request, "The answer may be given from now on.")
        return redirect("term", key)
    return _show(request, _found(key), answer=form)
