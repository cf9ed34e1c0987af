"""How well and how fast phases are fitted to patterns of known composition that another program drew."""

import json
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

PURE = Path("tests") / "samples" / "diffraction" / "patterns.npz"
OFFERED = ("iron", "magnetite", "hematite", "goethite", "iron-hydroxide", "potassium-carbonate")
SPEEDS = (
    (
        "three phases",
        {"corundum": 40, "zincite": 25, "fluorite": 35},
        ("corundum", "zincite", "fluorite"),
        0.5,
    ),
    (
        "four phases",
        {"iron": 55, "magnetite": 25, "goethite": 5, "iron-hydroxide": 15},
        ("iron", "spinel", "goethite", "iron-hydroxide"),
        0.5,
    ),
    (
        "six phases, three of them not there",
        {"iron": 55, "magnetite": 30, "iron-hydroxide": 15},
        ("iron", "spinel", "hematite", "goethite", "iron-hydroxide", "potassium-carbonate"),
        3.0,
    ),
)
IMPORT_S = 1.5
POINTS = 7000
NOISE = ((20_000, 300), (5_000, 3_000), (2_000, 3_000))


class Command(BaseCommand):
    """Fresh compositions are drawn from a seed; nothing in the fit was tuned to them."""

    help = (
        "Mix pure patterns at random, fit them with six phases offered, and say how far off the shares are."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the pure patterns, how many mixtures, and the seed."""
        parser.add_argument(
            "--pure", type=Path, default=settings.BASE_DIR / PURE, help="npz of pure patterns"
        )
        parser.add_argument("--mixtures", type=int, default=10, help="compositions for each noise level")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print errors in wt%, errors over e.s.d., false finds, misses and seconds for each noise level."""
        del args
        if not options["pure"].is_file():
            raise CommandError(f"{options['pure']} is not there; give the pure patterns with --pure.")
        if options["mixtures"] < 1:
            raise CommandError("--mixtures is 1 or more.")
        rows = [_level(options, highest, background) for highest, background in NOISE]
        speeds = _speeds(options["pure"])
        if options["json"]:
            self.stdout.write(json.dumps({"seed": options["seed"], "levels": rows, "speeds": speeds}))
            return
        for row in rows:
            self.stdout.write(
                f"{row['highest']:>6} over {row['background']:<5} mean error "
                f"{row['mean_error_percent']:.2f} wt%, "
                f"worst {row['worst_error_percent']:.2f}, "
                f"rms of error/e.s.d. {row['rms_error_over_esd']:.2f}, "
                f"false {row['false']} of {row['absent']}, missed {row['missed']}, "
                f"{row['cpu_s_mean']:.2f} s (at most {row['cpu_s_most']:.2f})"
            )
        for row in speeds:
            self.stdout.write(f"{row['what']}: {row['cpu_s']:.2f} CPU s (goal {row['goal_s']:g})")


def _speeds(pure: Path) -> list[dict[str, Any]]:
    """Take the CPU time of one thread for fits of 7,000 points, the best of three, and of the import."""
    import numpy as np

    from teardown.science.crystallography.fit import fit_pattern
    from teardown.science.crystallography.phases import phase_table

    table, rows = phase_table().phases, [{"what": "import", "cpu_s": _import_s(), "goal_s": IMPORT_S}]
    with np.load(pure) as data:
        known = {k: data[f"cu/{k}"] * float(data[f"cu/{k}/scale"]) for _, w, _, _ in SPEEDS for k in w}
    drawn = 12 + 0.02 * np.arange(len(known["iron"]))
    x = np.linspace(15, 100, POINTS)
    for what, weights, offered, goal in SPEEDS:
        y = sum(w / table[k].density_g_cm3 * np.interp(x, drawn, known[k]) for k, w in weights.items())
        counts = np.random.default_rng(1).poisson(20_000 * y / y.max() + 300).astype(float)
        seconds = []
        for _ in range(3):
            began = time.process_time()
            fit_pattern(x, counts, phases=offered)
            seconds.append(time.process_time() - began)
        rows.append({"what": what, "cpu_s": min(seconds), "goal_s": goal})
    return rows


def _import_s() -> float:
    """Give the CPU time that a fresh interpreter needs to import the fit."""
    import subprocess
    import sys

    words = (
        "import time; t = time.process_time(); import scipy.sparse, gemmi, scipy.ndimage; "
        "import teardown.science.crystallography.fit; print(time.process_time() - t)"
    )
    done = subprocess.run(  # noqa: S603 - this interpreter and words of our own
        [sys.executable, "-c", words], cwd=settings.BASE_DIR, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def _level(options: dict[str, Any], highest: int, background: int) -> dict[str, Any]:
    """Fit all mixtures at one noise level."""
    import numpy as np

    from teardown.science.crystallography.fit import fit_pattern
    from teardown.science.crystallography.phases import phase_table

    draw = np.random.default_rng([options["seed"], highest])
    table = phase_table().phases
    with np.load(options["pure"]) as data:
        pure = {k: data[f"cu/{k}"] * float(data[f"cu/{k}/scale"]) for k in OFFERED}
    x = np.asarray(12 + 0.02 * np.arange(len(pure["iron"])), dtype=np.float64)
    errors: list[float] = []
    relative: list[float] = []
    seconds: list[float] = []
    false = missed = absent = 0
    for _ in range(options["mixtures"]):
        there = draw.choice(OFFERED, size=int(draw.integers(2, 6)), replace=False)
        truth = dict(zip(there.tolist(), draw.dirichlet(np.full(len(there), 1.2)).tolist(), strict=True))
        y = sum(share / table[k].density_g_cm3 * pure[k] for k, share in truth.items())
        y = y / y.max() * highest + background * (1 + 0.3 * np.exp(-(x - 15) / 20))
        began = time.process_time()
        fit = fit_pattern(x, draw.poisson(y).astype(float), phases=list(OFFERED))
        seconds.append(time.process_time() - began)
        for row in fit.phases:
            true = truth.get(row.phase, 0.0)
            absent += true == 0
            if row.weight_fraction is None:
                errors.append(true)
                missed += true > (row.limit or 0.0)
            else:
                errors.append(abs(row.weight_fraction - true))
                relative.append((row.weight_fraction - true) / row.esd if row.esd else 0.0)
                false += true == 0
    return {
        "highest": highest,
        "background": background,
        "mixtures": options["mixtures"],
        "mean_error_percent": 100 * float(np.mean(errors)),
        "worst_error_percent": 100 * float(np.max(errors)),
        "rms_error_over_esd": float(np.sqrt(np.mean(np.square(relative)))),
        "false": int(false),
        "absent": int(absent),
        "missed": int(missed),
        "cpu_s_mean": float(np.mean(seconds)),
        "cpu_s_most": float(np.max(seconds)),
    }
