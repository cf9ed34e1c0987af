"""Phase fractions of one powder pattern, without a database: one JSON document, or a readable table."""

import json
import re
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from teardown.science.errors import Refusal

REFUSED = 2
RANGE = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*[-:]\s*(\d+(?:\.\d+)?)\s*$")


class Command(BaseCommand):
    """A bad file or question is answered with its sentence and ends with 2."""

    help = "Fit phases to a powder pattern (columns of text or powder CIF) and print their weight fractions."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take a file, the phases offered, and what is known of tube and specimen."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--phases", required=True, help="names of the phase table, parted by commas")
        parser.add_argument("--radiation", help="cu, co, mo, cr or fe; else what the file says, else cu")
        parser.add_argument("--standard", metavar="corundum=0.10", help="internal standard and weighed share")
        parser.add_argument("--particle-size-um", metavar="1-5", help="grain diameter, or its range, in µm")
        parser.add_argument(
            "--monochromator-deg", type=float, help="2θ of a monochromator after the specimen"
        )
        parser.add_argument(
            "--alpha-1-only", action="store_true", help="the tube's second line is filtered out"
        )
        parser.add_argument(
            "--slits",
            choices=["fixed", "variable"],
            default="fixed",
            help="divergence slits of the instrument",
        )
        parser.add_argument(
            "--profile-from",
            metavar="scan.xy=LaB6",
            help="pattern of a sharp standard on the same instrument; sizes and strains are then stated",
        )
        parser.add_argument("--range-deg", metavar="20-100", help="part of the pattern to fit, 2θ in degrees")
        parser.add_argument(
            "--hump-deg", metavar="22.5:9", help="broad hump: centre and width, 2θ in degrees"
        )
        parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the result; a refusal is a result too."""
        del args
        answer = _answer(options)
        text = json.dumps(answer, allow_nan=False) if options["json"] else "\n".join(_table(answer))
        self.stdout.write(text)
        if answer["refused"]:
            raise SystemExit(REFUSED)


def _answer(options: dict[str, Any]) -> dict[str, Any]:
    """Read, fit, and put everything into one document."""
    file: Path = options["file"]
    try:
        return {"file": file.name, **_fitted(file, options), "refused": []}
    except Refusal as refusal:
        reason = str(refusal)
    except OSError as error:
        reason = f"The file cannot be read: {error.strerror or error}."
    except ValueError as error:
        reason = str(error)
    empty: dict[str, Any] = {"phases": [], "below_limit": [], "Rwp": None, "GoF": None, "flags": []}
    return {"file": file.name, **empty, "refused": [{"file": file.name, "reason": reason}]}


def _fitted(file: Path, options: dict[str, Any]) -> dict[str, Any]:
    """Fit the pattern as it was asked."""
    from teardown.formats.powder import read_pattern
    from teardown.science.crystallography.document import as_document, remark_as_data
    from teardown.science.crystallography.fit import fit_pattern
    from teardown.science.crystallography.radiation import radiation
    from teardown.science.crystallography.settings import Settings

    hump = _span(options["hump_deg"], "--hump-deg")
    span, size = _span(options["range_deg"], "--range-deg"), _size(options["particle_size_um"])
    standard = _standard(options["standard"])
    pattern = read_pattern(file.read_bytes(), file.name)
    beam = radiation(
        options["radiation"] or pattern.anode or "cu",
        alpha_1_only=options["alpha_1_only"],
        monochromator_2theta_deg=options["monochromator_deg"],
    )
    settings = Settings(
        two_theta_deg=span,
        humps=(hump,) if hump else (),
        particle_size_um=size,
        optics=_optics(options, beam),
    )
    fit = fit_pattern(
        pattern.two_theta_deg,
        pattern.counts,
        phases=options["phases"].split(","),
        radiation=beam,
        standard=standard,
        sigma=pattern.sigma,
        settings=settings,
    )
    document = as_document(fit)
    known = {flag["code"] for flag in document["flags"]}
    document["flags"] += [remark_as_data(r) for r in pattern.remarks if r.code not in known]
    return document


def _optics(options: dict[str, Any], beam: Any) -> Any:
    """Give what is known of the instrument: its slits, and its line shape where a standard was scanned."""
    from teardown.formats.powder import read_pattern
    from teardown.science.crystallography.calibration import instrument_profile
    from teardown.science.crystallography.parameters import Optics

    variable = options["slits"] == "variable"
    if options["profile_from"] is None:
        return Optics(variable_slits=variable)
    name, _, phase = options["profile_from"].rpartition("=")
    if not name or not phase:
        raise ValueError(
            f'--profile-from is "{options["profile_from"]}"; write file and standard, as in scan.xy=LaB6.'
        )
    scan = read_pattern(Path(name).read_bytes(), Path(name).name)
    return instrument_profile(
        scan.two_theta_deg,
        scan.counts,
        phase=phase,
        radiation=beam,
        sigma=scan.sigma,
        variable_slits=variable,
    ).optics


def _span(text: str | None, name: str) -> tuple[float, float] | None:
    """Read two numbers parted by a dash or colon."""
    if text is None:
        return None
    found = RANGE.match(text)
    if found is None:
        raise ValueError(f'{name} is "{text}"; write two numbers, as in 20-100 or 22.5:9.')
    return float(found[1]), float(found[2])


def _size(text: str | None) -> tuple[float, float] | None:
    """Read a grain size or its range; one number is taken as known within a factor of two."""
    if text is None:
        return None
    if RANGE.match(text):
        span = _span(text, "--particle-size-um")
    else:
        try:
            span = (float(text) / 2**0.5, float(text) * 2**0.5)
        except ValueError:
            raise ValueError(
                f'--particle-size-um is "{text}"; write a number or a range, as in 1-5.'
            ) from None
    if span is None or not 0 < span[0] <= span[1] < 1000:
        raise ValueError(f'--particle-size-um is "{text}"; sizes rise and lie between 0 and 1000 µm.')
    return span


def _standard(text: str | None) -> tuple[str, float] | None:
    """Read the internal standard and its share."""
    if text is None:
        return None
    name, _, share = text.partition("=")
    try:
        return name.strip(), float(share.replace(",", "."))
    except ValueError:
        raise ValueError(
            f'--standard is "{text}"; write phase and weighed share, as in corundum=0.10.'
        ) from None


def _table(answer: dict[str, Any]) -> list[str]:
    """Set the document as text."""
    if answer["refused"]:
        return [f"{item['file']}: {item['reason']}" for item in answer["refused"]]
    lines = [f"{answer['file']}: wt% of the crystalline phases in the model"]
    for row in answer["phases"]:
        share, esd, u = (100 * row[k] for k in ("weight_fraction", "esd", "u"))
        line = f"  {row['name']:<36}{share:7.2f}  e.s.d. {esd:5.2f}  u {u:5.2f}"
        if row["brindley"]:
            line += f"  corrected for grain size {100 * row['brindley']['weight_fraction']:.1f}"
        lines.append(line)
    lines += [f"  {row['name']:<36}< {100 * row['limit']:5.2f}" for row in answer["below_limit"]]
    amorphous = answer["amorphous"]
    if amorphous and amorphous["value"] is not None:
        lines.append(
            f"  {'without sharp lines':<36}{100 * amorphous['value']:7.1f}  u {100 * amorphous['u']:5.1f}"
        )
    lines.append(f"Rwp {100 * answer['Rwp']:.2f} %, GoF {answer['GoF']:.2f}, {answer['radiation']}")
    lines += [f"- {flag['message']} {flag['remedy']}".rstrip() for flag in answer["flags"]]
    return lines
