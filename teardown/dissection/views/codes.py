"""Codes on labels, read off a still that a tablet took. The still itself is not kept."""

import tempfile
from pathlib import Path

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection.rules.codes import NotACode, read_code
from teardown.formats.qr import read_qr

LARGEST_BYTES = 25 * 2**20


@require_POST
@needs("custody.move")
def sample_read_still(request: SignedIn) -> HttpResponse:
    """Read the code on a photographed label: as JSON for a page that asks so, else go to its sample."""
    code, error = _read(request)
    if "application/json" in request.headers.get("Accept", ""):
        said = {"code": code} if code else {"error": error}
        return JsonResponse(said, status=200 if code else 422)
    if not code:
        messages.error(request, error)
        return redirect("samples")
    try:
        return redirect("sample", read_code(code))
    except NotACode as strange:
        messages.error(request, str(strange))
        return redirect("samples")


def _read(request: SignedIn) -> tuple[str, str]:
    """Give the first text on the still, a sample code before others; or in a sentence why there is none."""
    file = request.FILES.get("file")
    if file is None:
        return "", "No photograph of a label came with it."
    if (file.size or 0) > LARGEST_BYTES:
        return (
            "",
            f"This file is larger than {LARGEST_BYTES // 2**20} MB. Take a smaller photograph of the label.",
        )
    with tempfile.TemporaryDirectory(prefix="label-") as folder:
        path = Path(folder) / "still"
        with path.open("wb") as still:
            for piece in file.chunks():
                still.write(piece)
        texts = read_qr(path)
    if texts is None:
        return "", "This cannot be opened as a JPEG, PNG or TIFF. Photograph the label, or type the code."
    ours = next((text for text in texts if _is_code(text)), "")
    if not texts:
        return (
            "",
            "No code can be read on it. Go nearer, hold it square on and without glare; or type the code.",
        )
    return ours or texts[0], ""


def _is_code(text: str) -> bool:
    try:
        read_code(text)
    except NotACode:
        return False
    return True
