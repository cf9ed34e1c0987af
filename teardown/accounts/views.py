"""Sign in and out, one's own account, people, and the pages that refuse."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import (
    DisallowedHost,
    RequestDataTooBig,
    TooManyFieldsSent,
    TooManyFilesSent,
    ValidationError,
)
from django.db import connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from teardown import __version__
from teardown.accounts.actions import grant, set_pin, welcome
from teardown.accounts.forms import PinForm, RolesForm, WelcomeForm
from teardown.accounts.models import SignedIn, User
from teardown.accounts.roles import needs

_login = LoginView.as_view(template_name="accounts/sign_in.html", redirect_authenticated_user=True)


@login_not_required
@needs("account.use")
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Ask who is there."""
    response = _login(request)
    return response.render() if hasattr(response, "render") else response


@login_not_required
@require_POST
@needs("account.use")
def sign_out(request: HttpRequest) -> HttpResponse:
    """Let go of the session."""
    logout(request)
    return redirect("sign_in")


@login_not_required
@needs("health.see")
def health(request: HttpRequest) -> HttpResponse:
    """Say whether the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"well": True, "release": __version__})


@needs("account.own")
def account(request: SignedIn) -> HttpResponse:
    """Show one's own account; change password or PIN."""
    password = PasswordChangeForm(request.user, request.POST if "old_password" in request.POST else None)
    pin = PinForm(request.POST if "pin" in request.POST else None)
    if password.is_bound and password.is_valid():
        update_session_auth_hash(request, password.save())
        messages.success(request, "Your password is changed.")
        return redirect("account")
    if pin.is_bound and pin.is_valid():
        try:
            set_pin(user=request.user, pin=pin.cleaned_data["pin"])
        except ValidationError as error:
            pin.add_error("pin", error)
        else:
            messages.success(request, "Your PIN is set.")
            return redirect("account")
    return render(request, "accounts/account.html", {"password_form": password, "pin_form": pin})


@needs("people.manage")
def people(request: SignedIn) -> HttpResponse:
    """List people; welcome a new one."""
    form = WelcomeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        user = welcome(by=request.user, **form.cleaned_data)
        messages.success(request, f"{user.name} is known here now.")
        return redirect("people")
    return render(
        request, "accounts/people.html", {"form": form, "people": User.objects.prefetch_related("grants")}
    )


@needs("people.manage")
def person(request: SignedIn, username: str) -> HttpResponse:
    """Change the roles of a person, with the reason."""
    user = get_object_or_404(User, username=username)
    form = RolesForm(request.POST or None, initial={"roles": sorted(user.roles)})
    if request.method == "POST" and form.is_valid():
        wanted, reason = set(form.cleaned_data["roles"]), form.cleaned_data["reason"]
        for role in sorted(wanted ^ user.roles):
            grant(user=user, role=role, granted=role in wanted, by=request.user, reason=reason)
        messages.success(request, f"The roles of {user.name} are changed.")
        return redirect("people")
    return render(request, "accounts/person.html", {"form": form, "person": user})


def refused(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say that this person may not."""
    return render(request, "403.html", {"exception": exception}, status=403)


def not_taken(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say why a request was not taken in at all, and how it would be."""
    match exception:
        case TooManyFilesSent():
            sentence = (
                f"More than {settings.DATA_UPLOAD_MAX_NUMBER_FILES} files came at once. Send them in parts; "
                "in a browser with JavaScript, this application does so by itself."
            )
        case TooManyFieldsSent() | RequestDataTooBig():
            sentence = "The form is larger than any page here sends. Send it in parts."
        case DisallowedHost():
            sentence = (
                "This laboratory is not served under the name in the address. Whoever starts it can add the "
                "name to TEARDOWN_HOSTS."
            )
        case _:
            sentence = "The request could not be understood. Go back, load the page again, and try once more."
    sentence += " Nothing of this was stored."
    if "json" in request.headers.get("Accept", "") or "json" in (request.content_type or ""):
        return JsonResponse({"error": sentence}, status=400)
    if not hasattr(request, "user"):  # refused at the door, before anyone was looked up
        return HttpResponse(sentence, status=400, content_type="text/plain; charset=utf-8")
    return render(request, "400.html", {"sentence": sentence}, status=400)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say that nothing is here."""
    return render(request, "404.html", status=404)


def broken(request: HttpRequest) -> HttpResponse:
    """Say that the fault is ours."""
    return render(request, "500.html", status=500)
