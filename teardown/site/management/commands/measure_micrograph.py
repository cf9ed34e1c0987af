"""Measure polished sections from picture files, without a database: one JSON document, or a readable
table."""

import json
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from teardown.formats.pixel_size import ScaleCandidate
from teardown.imaging.measure import Examined, examine
from teardown.imaging.measure.plain import flag_data
from teardown.science.errors import Refusal, Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.pooling import SampleResult, pool_fields
from teardown.science.stereology.settings import VERSION, Settings

PICTURES = {".tif", ".tiff", ".png", ".jpg", ".jpeg"}
MAIN = ("porosity", "oxide_fraction", "oxide_coverage")


class Command(BaseCommand):
    """Each field stands with its own interval; several are pooled with Student's t."""

    help = "Measure porosity and oxide of polished cross sections from TIFF, PNG or JPEG files."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take files or folders, a pixel size, and where to draw the classes."""
        parser.add_argument("files", nargs="+", metavar="FILE", help="Picture files, or folders of them.")
        parser.add_argument(
            "--pixel-size-um", type=float, help="Side of a pixel in micrometres, for all files."
        )
        parser.add_argument("--overlay", metavar="OUT.png", help="Draw the classes over the picture.")
        parser.add_argument("--page", type=int, default=0, help="Page of multi-page files, from 0.")
        parser.add_argument(
            "--fast", action="store_true", help="Leave out the test of the levels' influence."
        )
        parser.add_argument("--json", action="store_true", help="Print one JSON document.")

    def handle(self, *_: Any, **options: Any) -> None:
        """Measure each file; bad ones are listed with their reason and hinder no other."""
        size = options["pixel_size_um"]
        if size is not None and not 1e-5 < size < 1e3:
            raise CommandError("--pixel-size-um must be above 0, in micrometres.")
        measured: list[tuple[str, Examined]] = []
        refused: list[dict[str, str]] = []
        for name in _files(options["files"]):
            try:
                measured.append((name, _measure(name, options)))
            except Refusal as refusal:
                refused.append({"file": name, "reason": str(refusal)})
            except IsADirectoryError:
                refused.append({"file": name, "reason": "The folder holds no TIFF, PNG or JPEG picture."})
            except OSError as error:
                refused.append(
                    {"file": name, "reason": f"The file cannot be read: {error.strerror or error}."}
                )
        self._draw(measured, options["overlay"])
        document = _document(measured, refused)
        self.stdout.write(json.dumps(document, indent=1) if options["json"] else _table(document))
        if refused:
            raise SystemExit(2)

    def _draw(self, measured: list[tuple[str, Examined]], out: str | None) -> None:
        if not out:
            return
        from teardown.formats.pyramid import png_bytes
        from teardown.science.stereology.overlay import blend

        target = Path(out)
        for name, examined in measured:
            path = target if len(measured) == 1 else target.with_stem(f"{target.stem}-{Path(name).stem}")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(png_bytes(blend(examined.picture.grey, examined.result.labels)))


def _files(given: list[str]) -> Iterator[str]:
    for name in given:
        path = Path(name)
        if path.is_dir():
            found = [str(one) for one in sorted(path.rglob("*")) if one.suffix.lower() in PICTURES]
            yield from found or [name]
        else:
            yield name


def _measure(name: str, options: dict[str, Any]) -> Examined:
    size = options["pixel_size_um"]
    scale = ScaleCandidate("typed", size, size) if size else None
    settings = Settings(sensitivity=not options["fast"])
    return examine(Path(name).read_bytes(), page=options["page"], scale=scale, settings=settings)


def _document(measured: list[tuple[str, Examined]], refused: list[dict[str, str]]) -> dict[str, Any]:
    flags: list[Remark] = []
    pooled = None
    if len(measured) > 1:
        pooled = _pooled(pool_fields([examined.result.summary() for _, examined in measured]))
    elif measured:
        words = "One field was given: its interval is its own, and nothing is pooled."
        flags.append(Remark("one_field", "info", words, 1.0, "", "Measure more fields of the same sample."))
    return {
        "files": [_file(name, examined) for name, examined in measured],
        "refused": refused,
        "pooled": pooled,
        "flags": [flag_data(flag) for flag in flags],
        "version": VERSION,
    }


def _file(name: str, examined: Examined) -> dict[str, Any]:
    result = examined.result
    estimates = result.estimates
    scaled = result.pixel_size_um is not None
    return {
        "file": name,
        "pixel_size_um": result.pixel_size_um,
        "pixel_size_source": examined.scale.source if examined.scale else None,
        **{key: _number(estimates.get(key)) for key in MAIN},
        "oxide_thickness_um": _number(estimates.get("oxide_thickness")) if scaled else None,
        "other": {key: _number(value) for key, value in estimates.items() if key not in MAIN},
        "detection_limit_px": result.detection_limit_px,
        "levels": {
            "pore": result.levels.pore,
            "oxides": list(result.levels.oxides),
            "metal": result.levels.metal,
            "bright": result.levels.bright,
            "source": result.levels.source,
            "oxide_places": list(result.levels.oxide_places),
        },
        "edge_sigma_px": result.edge_sigma_px,
        "strip_rows": [examined.strip.top, examined.strip.bottom] if examined.strip else None,
        "uncertainty": {
            "sampling": result.sampling_error,
            "levels": result.threshold_uncertainty,
        },
        "flags": [flag_data(flag) for flag in examined.flags],
        "settings": result.settings.as_dict(),
        "version": result.version,
    }


def _pooled(sample: SampleResult) -> dict[str, Any]:
    estimates = sample.estimates
    thickness = estimates.get("oxide_thickness")
    return {
        **{key: _number(estimates.get(key)) for key in MAIN},
        "oxide_thickness_um": _number(thickness) if thickness and thickness.unit == "um" else None,
        "other": {key: _number(value) for key, value in estimates.items() if key not in MAIN},
        "fields": sample.fields,
        "fields_needed": sample.fields_needed,
        "flags": [flag_data(flag) for flag in sample.flags],
    }


def _number(value: Estimate | None) -> dict[str, Any] | None:
    return value.as_dict() if value else None


def _table(document: dict[str, Any]) -> str:
    lines = [f"{'file':<40} {'porosity':>22} {'oxide':>22} {'coverage':>22}  flags"]
    rows = [(one["file"], one) for one in document["files"]]
    if document["pooled"]:
        rows.append((f"pooled over {document['pooled']['fields']} fields", document["pooled"]))
    for name, one in rows:
        cells = " ".join(f"{_percent(one[key]):>22}" for key in MAIN)
        codes = ", ".join(flag["code"] for flag in one["flags"])
        lines.append(f"{name[-40:]:<40} {cells}  {codes}")
    lines += [f"refused: {one['file']}: {one['reason']}" for one in document["refused"]]
    return "\n".join(lines)


def _percent(value: dict[str, Any] | None) -> str:
    if value is None:
        return "not measured"
    return f"{value['value'] * 100:.1f} % ({value['low'] * 100:.1f}-{value['high'] * 100:.1f})"
