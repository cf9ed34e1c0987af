"""Bring a folder of micrographs: each goes to the sample whose code its name holds, or the text beside it."""

from argparse import ArgumentParser, ArgumentTypeError
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

ENDINGS = (".tif", ".tiff", ".png", ".jpg", ".jpeg", ".txt", ".hdr", ".zip")
AT_ONCE = 20
REFUSED = 2
MOST_NUMBER = 10_000


class Command(BaseCommand):
    """Show what a folder would become, or bring it."""

    help = (
        "Bring every micrograph of a folder. A picture belongs to the sample whose code stands in its name "
        "or in the text file beside it; without --apply it is only said what would be done. Pictures that "
        "are here already are recognised by their bytes. Of a file with several pages the first is brought, "
        "with --pages others too. Ends with 2 where a file is refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare folder, person, session and what to do."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--by", required=True, metavar="USERNAME", help="the person who brings them")
        parser.add_argument("--session", default="", help="name of the sitting at the microscope")
        parser.add_argument("--pixel-size-um", type=float, help="side of a pixel, where the files do not say")
        parser.add_argument(
            "--pages",
            default="first",
            type=_pages,
            metavar="first|all|1,3",
            help="pages of a file with several, counted from 1, each a picture of its own; all means those "
            "that are as large as the first",
        )
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


def _pages(text: str) -> frozenset[int] | None:
    """Read which pages are wanted, counted from 0: None for all, nothing beside the first for ``first``."""
    if text in ("first", "all"):
        return None if text == "all" else frozenset()
    words = text.split(",")
    if not all(word.strip().isdecimal() and 0 < int(word) <= MOST_NUMBER for word in words):
        raise ArgumentTypeError(f"{text!r} names no pages: write first, all, or numbers from 1 as in 1,3.")
    wanted = frozenset(int(word) - 1 for word in words)
    if 0 not in wanted:
        raise ArgumentTypeError(f"{text!r} leaves the first page out; it is always brought. Write 1,{text}.")
    return wanted


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
            continue
        micrograph = (added.known or added.micrographs)[0]
        of = f" as {_place(one)}" if known.sample else ""
        words = (
            f"here already, as number {micrograph.pk}" if added.known else f"kept{of}, number {micrograph.pk}"
        )
        told.append((words + _further(micrograph, person, options["pages"]), False))
    return told


def _further(micrograph: Any, person: Any, pages: frozenset[int] | None) -> str:
    """Bring further pages of the file where they are wanted; say which, and whether it holds more."""
    from django.core.exceptions import ValidationError

    from teardown.imaging.actions import bring_pages
    from teardown.imaging.runs import pages_of

    holds = int(micrograph.metadata.get("pages", 1))
    if holds <= 1:
        return ""
    words = ""
    if pages is None or pages - {0}:
        try:
            made = bring_pages(micrograph=micrograph, by=person, pages=pages)
        except ValidationError:
            words = "; no further page of its size was to be brought"
        else:
            each = [f"page {one.page + 1} as number {one.pk}" for one in made]
            words = "; " + ", ".join(each)
    left = holds - len(pages_of(micrograph))
    if left <= 0:
        return words
    more = "" if pages is None else "; --pages all brings those of its size"
    return f"{words}; the file holds {holds} pages, {left} of them not brought{more}"
