"""Bring a folder of micrographs: each goes to the sample whose code its name holds, or the text beside it."""

from argparse import ArgumentParser
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

ENDINGS = (".tif", ".tiff", ".png", ".jpg", ".jpeg", ".txt", ".hdr", ".zip")
AT_ONCE = 20
REFUSED = 2


class Command(BaseCommand):
    """Show what a folder would become, or bring it."""

    help = (
        "Bring every micrograph of a folder. A picture belongs to the sample whose code stands in its name "
        "or in the text file beside it; without --apply it is only said what would be done. Pictures that "
        "are here already are recognised by their bytes. Ends with 2 where a file is refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare folder, person, session and what to do."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--by", required=True, metavar="USERNAME", help="the person who brings them")
        parser.add_argument("--session", default="", help="name of the sitting at the microscope")
        parser.add_argument("--pixel-size-um", type=float, help="side of a pixel, where the files do not say")
        parser.add_argument("--apply", action="store_true", help="bring what is not refused")

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through the folder, one line a file."""
        del args
        person = _person(options["by"])
        folder: Path = options["folder"]
        if not folder.is_dir():
            raise CommandError(f"{folder} is no folder.")
        size = options["pixel_size_um"]
        if size is not None and not 1e-5 < size < 1e3:
            raise CommandError("--pixel-size-um must be above 0, in micrometres.")
        planned = _plan(folder)
        if not planned:
            self.stdout.write("No picture is in this folder.")
        refused = 0
        for begin in range(0, len(planned), AT_ONCE):
            batch = planned[begin : begin + AT_ONCE]
            told = _bring(batch, person, options) if options["apply"] else _say(batch)
            for number, (one, (words, bad)) in enumerate(zip(batch, told, strict=True), begin + 1):
                self.stdout.write(f"{number}/{len(planned)} {one.planned.name}: {words}")
                refused += bad
        if refused:
            raise SystemExit(REFUSED)


def _person(username: str) -> Any:
    from teardown.accounts.models import User
    from teardown.accounts.roles import may, refusal

    person = User.objects.filter(username=username).first()
    if person is None:
        raise CommandError(f"There is no person with the name {username}.")
    if not may(person, "micrographs.add"):
        raise CommandError(refusal(person, "micrographs.add"))
    return person


def _plan(folder: Path) -> list["Found"]:
    """Find the pictures of a folder, its zips unfolded; pictures are opened only when they are brought."""
    from django.core.exceptions import ValidationError
    from django.core.files.base import ContentFile

    from teardown.imaging.intake import TEXTS, plan, unfold

    files, paths = [], {}
    try:
        for path in sorted(p for p in folder.rglob("*") if p.is_file() and p.name.lower().endswith(ENDINGS)):
            name = str(path.relative_to(folder))
            if path.suffix.lower() == ".zip":
                files += unfold([ContentFile(path.read_bytes(), name=name)])
                continue
            paths[name] = path
            text = path.suffix.lower() in TEXTS
            files.append(ContentFile(path.read_bytes() if text else b"", name=name))
    except ValidationError as error:
        raise CommandError(" ".join(error.messages)) from error
    return [Found(one, paths.get(one.name)) for one in plan(files)]


@dataclass(frozen=True, slots=True)
class Found:
    """A picture of the folder: what it would be tied to, and where its bytes are."""

    planned: Any
    path: Path | None

    def read(self) -> bytes:
        """Give its bytes, from the folder or from the zip that held it."""
        if self.path is not None:
            return self.path.read_bytes()
        self.planned.picture.seek(0)
        return bytes(self.planned.picture.read())


def _say(batch: list[Found]) -> list[tuple[str, bool]]:
    return [
        (f"would be {_place(one)}", False)
        if one.planned.sample
        else ("would be kept and tied to no sample: no code in its name or the text beside it", False)
        for one in batch
    ]


def _place(one: Found) -> str:
    return f"field {one.planned.field_number or '?'} of sample {one.planned.sample.code}"


def _bring(batch: list[Found], person: Any, options: dict[str, Any]) -> list[tuple[str, bool]]:
    from teardown.imaging.actions import Offered, add_micrographs
    from teardown.imaging.models import ImagingSession

    session = None
    if options["session"]:
        session, _ = ImagingSession.objects.get_or_create(name=options["session"][:80])
    told = []
    for one in batch:
        known = one.planned
        offered = Offered(
            one.read(), known.name, known.sample, None, known.field_number, options["pixel_size_um"],
            known.sidecar,
        )  # fmt: skip
        added = add_micrographs(offered=[offered], by=person, session=session)
        if added.refused:
            told.append((f"refused: {added.refused[0].reason}", True))
        elif added.known:
            told.append((f"here already, as number {added.known[0].pk}", False))
        else:
            of = f" as {_place(one)}" if known.sample else ""
            told.append((f"kept{of}, number {added.micrographs[0].pk}", False))
    return told
