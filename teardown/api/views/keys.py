"""The page of keys."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import may, needs
from teardown.api import actions
from teardown.api.dossier import TABLES
from teardown.api.forms import KeyForm
from teardown.api.models import Token
from teardown.page.trying import tried


@require_http_methods(["GET", "HEAD", "POST"])
@needs("account.own")
def keys(request: SignedIn) -> HttpResponse:
    """List one's keys, an administrator everybody's; issue one, which is shown this once."""
    all_of_them = may(request.user, "people.manage")
    form = KeyForm(request.POST or None, choose=all_of_them)
    made = None
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.issue_key(
                user=form.cleaned_data.get("user") or request.user,
                name=form.cleaned_data["name"],
                expires_at=form.cleaned_data["expires_at"],
                by=request.user,
            ),
        )
    rows = Token.objects.select_related("user").order_by("-pk")
    context = {
        "keys": rows if all_of_them else rows.filter(user=request.user),
        "form": KeyForm(choose=all_of_them) if made else form,
        "made": made,
        "tables": TABLES.values(),
    }
    response = render(request, "api/keys.html", context)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@needs("account.own")
def withdraw(request: SignedIn, pk: int) -> HttpResponse:
    """Make a key useless from now on."""
    token = get_object_or_404(Token, pk=pk)
    actions.withdraw_key(token=token, by=request.user)
    messages.success(request, f"The key “{token.name}” opens nothing any more.")
    return redirect("keys")
