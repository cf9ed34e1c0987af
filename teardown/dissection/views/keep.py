"""What tablets hand in: items and photographs of their queue, and the person at the tablet."""

import datetime as dt
import hashlib
import json
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST

from teardown.accounts.actions import know_by_pin
from teardown.accounts.models import SignedIn, User
from teardown.accounts.roles import needs
from teardown.cells.actions import cell_once_called
from teardown.dissection import actions
from teardown.dissection.models import BenchSession, Dissection, Entry
from teardown.dissection.schemas import KINDS

MOST_ITEMS, SHORTEST_SECRET = 500, 32


@require_POST
@needs("entries.add")
def keep(request: SignedIn) -> HttpResponse:
    """Keep the items of a queue, cell by cell in their order; answer for each by its key."""
    try:
        body = json.loads(request.body)
        items = body["items"]
        if not isinstance(items, list) or len(items) > MOST_ITEMS:
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        return JsonResponse({"error": f"Hand in a list of at most {MOST_ITEMS} items."}, status=400)
    answers = [_keep_one(request, item) for item in items]
    return JsonResponse({"answers": answers, "server_time": timezone.now().isoformat()})


def _keep_one(request: SignedIn, item: Any) -> dict[str, Any]:
    """Keep one item by itself: whatever is wrong with it blocks no other."""
    key = str(item.get("key", "")) if isinstance(item, dict) else ""
    try:
        if not isinstance(item, dict) or item.get("kind") not in KINDS:
            raise ValidationError("This is no item of the bench.")
        who, session = _speaks(request, item)
        return {"key": key} | _deed(item, who, session)
    except (ValidationError, PermissionDenied) as error:
        sentences = error.messages if isinstance(error, ValidationError) else [str(error)]
        state = getattr(error, "code", None)
        return {
            "key": key,
            "state": state if state in {"conflict", "unusual"} else "refused",
            "sentences": sentences,
        }
    except (TypeError, ValueError, KeyError, AttributeError) as error:
        return {"key": key, "state": "refused", "sentences": [f"It cannot be read: {type(error).__name__}."]}


def _speaks(request: SignedIn, item: dict[str, Any]) -> tuple[User, BenchSession | None]:
    """Tell whose word it is: of the person whose sitting the credential is of, else of who is signed in."""
    credential = str(item.get("credential", ""))
    if credential:
        digest = hashlib.sha256(credential.encode()).hexdigest()
        session = BenchSession.objects.select_related("person").filter(credential_sha256=digest).first()
        if session is not None:
            return session.person, session
    return request.user, None


def _dissection(code: Any) -> Dissection:
    rows = Dissection.objects.select_related("cell__build")
    found = rows.filter(cell__code=str(code)).first()
    if found is None and (cell := cell_once_called(str(code))):  # queued before the cell was named anew
        found = rows.filter(cell=cell).first()
    if found is None:
        raise ValidationError(f"The dissection of {code} was not begun here.")
    return found


def _deed(item: dict[str, Any], who: User, session: BenchSession | None) -> dict[str, Any]:
    said = dict(item.get("said", {}))
    match item["kind"]:
        case "entry":
            said["key"] = item["key"]
            (outcome,) = actions.log_entries(
                dissection=_dissection(item["cell"]), items=[said], by=who, session=session
            )
            return _answer(outcome)
        case "all":
            read = actions.Item.read(said | {"key": item["key"]})
            extra = {name: value for name, value in said.items() if name != "term"}
            outcomes = actions.all_the_same(
                dissection=_dissection(item["cell"]), by=who, session=session, key=read.key,
                **{"term": read.term} | extra,
            )  # fmt: skip
            worst = next((outcome for outcome in outcomes if not outcome.kept), outcomes[0])
            return _answer(worst)
        case "amend":
            reason, words = said.pop("reason", ""), said.pop("reason_text", "")
            entry = actions.amend(
                entry=_entry(item["target"]), by=who, reason=reason, reason_text=words,
                key=actions.Item.read({"term": "any", "key": item["key"]}).key, session=session, **said,
            )  # fmt: skip
            return {"state": "kept", "entry": str(entry.key)}
        case "caution":
            actions.show_cautions(
                dissection=_dissection(item["cell"]), step=str(said["step"])[:40], by=who, session=session,
                read=bool(said.get("read")), at=_time(str(said.get("at", ""))),
            )  # fmt: skip
            return {"state": "kept"}
        case "withdraw":
            entry = actions.withdraw(
                entry=_entry(item["target"]), by=who, reason=said.get("reason", "typing_slip"),
                key=actions.Item.read({"term": "any", "key": item["key"]}).key, session=session,
            )  # fmt: skip
            return {"state": "kept", "entry": str(entry.key)}
        case _:
            entries = [_entry(target) for target in item["targets"]]
            left = [entry for entry in entries if not entry.superseded_by.exists()]
            actions.move(entries=left, to=_dissection(item["cell"]), by=who, session=session)
            return {"state": "kept" if left else "kept already"}


def _entry(key: Any) -> Entry:
    entry = Entry.objects.filter(key=str(key)).select_related("dissection__cell__build").first()
    if entry is None:
        raise ValidationError("What it amends is not here yet; it waits for that.")
    return entry


def _answer(outcome: actions.Outcome) -> dict[str, Any]:
    return {"state": outcome.state, "sentences": list(outcome.sentences)}


@require_POST
@needs("entries.add")
def keep_photograph(request: SignedIn) -> HttpResponse:
    """Keep one photograph of a queue; a repeat is recognised by its key."""
    file, key = request.FILES.get("file"), request.POST.get("key", "")
    try:
        if file is None:
            raise ValidationError("No photograph came with it.")
        who, session = _speaks(request, request.POST.dict())
        photograph = actions.add_photograph(
            file=file,
            by=who,
            session=session,
            dissection=_dissection(request.POST["cell"]) if request.POST.get("cell") else None,
            key=actions.Item.read({"term": "any", "key": key}).key,
            name=request.POST.get("name", ""),
            digest_claimed=request.POST.get("sha256", ""),
            step=request.POST.get("step", "")[:40],
            taken_at=_time(request.POST.get("taken_at", "")),
            device_ms=_whole(request.POST.get("device_ms", "")),
            clock=request.POST.get("clock", "")[:40],
            minutes_since_opening=_minutes(request.POST.get("minutes_since_opening", "")),
        )
        if request.POST.get("frame") and photograph.label is None:
            actions.label_photograph(photograph=photograph, frame=request.POST["frame"][:80], by=who)
    except ValidationError as error:
        state = error.code if getattr(error, "code", None) == "conflict" else "refused"
        return JsonResponse({"key": key, "state": state, "sentences": error.messages}, status=422)
    return JsonResponse({
        "key": key, "state": "kept", "sha256": photograph.receipt.file.sha256,
        "sharpness": photograph.sharpness,
    })  # fmt: skip


@require_POST
@needs("entries.add")
def keep_audio(request: SignedIn) -> HttpResponse:
    """Keep one spoken note of a queue; a repeat is recognised by its key."""
    file, post = request.FILES.get("file"), request.POST
    try:
        if file is None:
            raise ValidationError("No recording came with it.")
        who, session = _speaks(request, post.dict())
        note = actions.add_audio_note(
            file=file,
            dissection=_dissection(post.get("cell", "")),
            by=who,
            session=session,
            key=actions.Item.read({"term": "any", "key": post.get("key", "")}).key,
            name=post.get("name", ""),
            digest_claimed=post.get("sha256", ""),
            gist=post.get("gist", ""),
            seconds=_minutes(post.get("seconds", "")),
            step=post.get("step", "")[:40],
            spoken_at=_time(post.get("taken_at", "")),
            device_ms=_whole(post.get("device_ms", "")),
            clock=post.get("clock", "")[:40],
            minutes_since_opening=_minutes(post.get("minutes_since_opening", "")),
        )
    except (ValidationError, PermissionDenied) as error:
        sentences = error.messages if isinstance(error, ValidationError) else [str(error)]
        state = "conflict" if getattr(error, "code", None) == "conflict" else "refused"
        return JsonResponse({"key": post.get("key", ""), "state": state, "sentences": sentences}, status=422)
    return JsonResponse({"key": post["key"], "state": "kept", "sha256": note.receipt.file.sha256})


def _time(text: str) -> dt.datetime | None:
    moment = parse_datetime(text) if text else None
    return moment if moment is None or moment.tzinfo else moment.replace(tzinfo=dt.UTC)


def _whole(text: str) -> int | None:
    return int(text) if text.lstrip("-").isdigit() else None


def _minutes(text: str) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:
        return None


@require_POST
@needs("entries.add")
def person(request: SignedIn) -> HttpResponse:
    """Begin a sitting for a person who shows their PIN at a shared tablet.

    The secret that the tablet made speaks for it afterwards. What is wrong is said in words, with status 422.
    """
    name, pin, credential = (request.POST.get(field, "") for field in ("username", "pin", "credential"))
    try:
        if len(credential) < SHORTEST_SECRET:
            raise ValidationError("The tablet gave no secret of its own. Load the page again.")
        known = know_by_pin(username=name, pin=pin, at=timezone.now())
        place = request.POST.get("place", "")[:80]
        session = actions.begin_session(by=known, credential=credential, place=place)
    except (ValidationError, PermissionDenied) as error:
        said = error.messages if isinstance(error, ValidationError) else [str(error)]
        return JsonResponse({"error": " ".join(said)}, status=422)
    return JsonResponse({"session": str(session.key), "name": known.name, "username": known.username})
