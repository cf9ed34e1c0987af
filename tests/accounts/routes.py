"""Every route of the application, and something of each kind for its address to name."""

import datetime as dt
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.core.files.base import ContentFile
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from teardown.accounts.models import User
from teardown.api.actions import issue_key
from teardown.cells.actions import add_material, keep_study, show_import
from teardown.diffraction.actions import add_diffractometer, add_pattern, give_fractions
from teardown.diffraction.models import Fit
from teardown.dissection import actions as bench
from teardown.dissection.actions.older import show_older
from teardown.dissection.actions.older_photographs import show_older_photographs
from teardown.dissection.actions.paper import begin_paper
from teardown.dissection.models import CautionCard
from teardown.files.models import Run
from teardown.files.store import keep
from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, remeasure
from teardown.imaging.models import ImagingSession
from teardown.science.crystallography.phantoms import powder_pattern
from tests.makers import NOW, make_build, make_cell, make_revision, make_test
from tests.pictures import noise_file

CELL = "SECRETCELL-1"
RECIPE = "SECRETRECIPE-1"
UNKNOWN = {"int": 999_999, "str": "nothing", "uuid": uuid.UUID(int=0), "path": "nothing", "digest": "0" * 64}
KINDS = {
    "IntConverter": "int",
    "StringConverter": "str",
    "UUIDConverter": "uuid",
    "PathConverter": "path",
    "Digest": "digest",
}


@dataclass(frozen=True, slots=True)
class Route:
    """A route: its name, its pattern, its view, and what its address asks for."""

    name: str
    pattern: str
    view: Any
    asks: dict[str, str]

    @property
    def action(self) -> str:
        """Give the row of the table of actions that its view is held to."""
        return str(getattr(self.view, "action", ""))

    def address(self, things: dict[str, dict[str, Any]]) -> str:
        """Give its address, naming what there is, or nothing where there is none of its kind."""
        known = things.get(self.name) or things.get(self.pattern.split("/")[0], {})
        return reverse(self.name, kwargs={k: known.get(k, UNKNOWN[kind]) for k, kind in self.asks.items()})


def routes() -> Iterator[Route]:
    """Give every route but those of the interface for notebooks, which answer to keys, not to sessions."""
    yield from _walk(get_resolver(), "", {})


def _walk(resolver: Any, before: str, asks: dict[str, str]) -> Iterator[Route]:
    for one in resolver.url_patterns:
        pattern = before + str(one.pattern)
        asked = asks | {k: KINDS.get(type(c).__name__, "str") for k, c in one.pattern.converters.items()}
        if pattern.startswith("api/"):
            continue
        if isinstance(one, URLPattern):
            yield Route(one.name or "", pattern, one.callback, asked)
        else:
            yield from _walk(one, pattern, asked)


def things(by: User) -> dict[str, dict[str, Any]]:
    """Make one thing of each kind, all of a cell that is still open, and give what names it.

    Keys are names of routes, or first words of addresses.
    """
    revision = make_revision(RECIPE)
    cell = make_cell(CELL, build=make_build(revision, "SECRETBUILD-1"))
    test = make_test(cell, end="capacity_limit")
    material = add_material(name="secret iron", kind="iron", by=by)
    study = keep_study(name="winter", cells=[cell], by=by)
    delivery = show_import(upload=b"cell;build;built on;recipe\n", name="empty.csv", by=by)
    run = Run.objects.create(
        key="1" * 64,
        function="imaging.section",
        function_version="1",
        subject="imaging.micrograph:1",
        asked_at=timezone.now(),
    )
    now = NOW - dt.timedelta(hours=3)
    dissection = bench.start_dissection(cell=cell, by=by, at=now)
    bench.open_cell(dissection=dissection, by=by, at=now)
    entry = bench.log_entry(dissection=dissection, term="mass.received_g", value="41,18", by=by, at=NOW)
    photograph = bench.add_photograph(
        file=noise_file("JPEG"), name="1.jpg", dissection=dissection, by=by, at=NOW
    )
    sample = bench.cut_sample(dissection=dissection, component="iron_electrode", place="M2", by=by, at=NOW)
    order, *_ = bench.send_orders(samples=[sample], technique="diffraction", by=by)
    mount = bench.mount_samples(samples=[(sample, "across")], by=by)
    micrograph = add_micrograph(
        picture=noise_file("PNG"), name="1.png", by=by, pixel_size_um=0.2, sample=sample
    )
    session = ImagingSession.objects.create(name="one evening")
    again = remeasure(micrographs=[micrograph], reason="the method changed", by=by)
    made = powder_pattern({"iron": 0.6, "magnetite": 0.4}, anode="cu", seed=1)
    lines = [f"{a:.3f} {c:.0f}" for a, c in zip(made.two_theta_deg, made.counts, strict=True)]
    pattern = add_pattern(
        file="\n".join(lines).encode(), name="1.xy", by=by, sample=sample, radiation="cu", fit=False
    )
    give_fractions(result="iron 61.2(8)\nmagnetite 38.8(8)", pattern=pattern, by=by, source="elsewhere")
    work_off()
    fit = Fit.objects.get()
    older = show_older(upload=b"cell;day;dry mass (g)\nSECRETCELL-1;2031-03-04;3.4\n", by=by)
    beside = ContentFile(b"file,cell,day\n2.tif,SECRETCELL-1,2031-03-04\n", name="list.csv")
    folder = show_older_photographs(files=[ContentFile(noise_file("TIFF"), name="2.tif"), beside], by=by)
    paper = begin_paper(
        dissection=dissection, pages=[ContentFile(noise_file("JPEG", seed=2), name="page.jpg")],
        dated_on=NOW.date(), by=by, at=NOW,
    )  # fmt: skip
    token, _ = issue_key(user=by, name="notebook", by=by)
    fits = {name: {"pk": fit.pk} for name in ("fit", "fit_review", "fit_cif", "fit_curves")}
    fits |= {name: {"pk": again.pk} for name in ("micrographs_remeasured", "micrographs_remeasured_judge")}
    diffractometer = add_diffractometer(name="a diffractometer", radiation="cu", by=by)
    return fits | {
        "diffractometer_change": {"pk": diffractometer.pk},
        "patterns": {"pk": pattern.pk},
        "micrograph-sessions": {"pk": session.pk},
        "marks": {"kind": "micrograph", "pk": micrograph.pk},
        "keys": {"pk": token.pk},
        "people": {"username": by.username},
        "files": {"sha256": keep(b"abc", by=by).file.sha256},
        "runs": {"pk": run.pk},
        "vocabulary": {"key": "end.leak", "kind": "mode"},
        "recipes": {"code": RECIPE, "number": revision.number},
        "builds": {"code": cell.build.code},
        "cells": {"code": CELL, "key": "purity"},
        "bench": {"code": CELL, "pk": paper.pk},
        "materials": {"pk": material.pk},
        "tests": {"pk": test.pk},
        "protocols": {"code": test.protocol.protocol.code},
        "studies": {"pk": study.pk},
        "imports": {"pk": delivery.pk, "kind": "cells.cells"},
        "entries": {"key": entry.key},
        "older": {"pk": older.pk},
        "older_photographs": {"pk": folder.pk},
        "look-back": {"term": "iron.colour", "key": photograph.key},
        "photographs": {"key": photograph.key, "size": "small"},
        "score-again": {"term": "iron.colour"},
        "samples": {"code": sample.code},
        "orders": {"pk": order.pk},
        "mounts": {"code": mount.code},
        "cautions": {"key": CautionCard.objects.order_by("pk").values_list("key", flat=True)[0]},
        "micrographs": {
            "pk": micrograph.pk,
            "level": 0,
            "column": 0,
            "row": 0,
            "run": run.pk,
            "after": run.pk,
            "style": "fill",
        },
    }
