"""What happens to each invented cell, decided before anything is told: pure, from a seed.

Each failure mode has a lifetime of its own (Weibull) whose scale depends on the recipe, the chamber and the
protocol; the shortest one is the root of the end. So the laboratory's data hold a truth to be found: sulfide
keeps passivation away, carbonyl iron closes its pores when warm, carbon felt corrodes when warm, air that is
not scrubbed carbonates. Every number here is invented.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Formula:
    """What a recipe is made of, as far as lives depend on it."""

    code: str
    iron: str
    additive: str
    share: float
    KOH_mol_L: float
    air_electrode: str
    LiOH_mol_L: float = 0.0


@dataclass(frozen=True, slots=True)
class Regime:
    """How a cell is cycled: hours of charge, discharge and each rest."""

    code: str
    charge_h: float
    discharge_h: float
    rest_h: float

    @property
    def cycle_h(self) -> float:
        """Give the length of a whole cycle."""
        return self.charge_h + self.discharge_h + 2 * self.rest_h


FORMULAS = (
    Formula("R01", "carbonyl iron", "none", 0.0, 6, "nickel mesh air electrode"),
    Formula("R02", "carbonyl iron", "bismuth sulfide", 0.01, 6, "nickel mesh air electrode"),
    Formula("R03", "carbonyl iron", "bismuth sulfide", 0.04, 6, "nickel mesh air electrode"),
    Formula("R04", "carbonyl iron", "bismuth sulfide", 0.08, 6, "nickel mesh air electrode"),
    Formula("R05", "reduced magnetite", "bismuth sulfide", 0.04, 6, "nickel mesh air electrode", 0.5),
    Formula("R06", "reduced magnetite", "iron sulfide", 0.03, 4, "carbon felt air electrode"),
    Formula("R07", "carbonyl iron", "iron sulfide", 0.03, 8, "nickel mesh air electrode"),
    Formula("R08", "atomised iron", "zinc sulfide", 0.02, 6, "carbon felt air electrode"),
    Formula("R09", "atomised iron", "bismuth sulfide", 0.04, 8, "nickel mesh air electrode"),
    Formula("R10", "reduced magnetite", "bismuth oxide", 0.02, 6, "carbon felt air electrode"),
)
REGIMES = (
    Regime("tidal", 6.2, 6.2, 0.4),
    Regime("steady", 20.0, 20.0, 1.0),
    Regime("long", 40.0, 40.0, 1.0),
)
REVISED = {"R03", "R05"}
TIME_ZERO = ("R02", "R03", "R05", "R08")  # recipes of which one cell is opened right after formation
FORMATION = 3  # cycles
CHAMBERS = {"C1": 20.0, "C2": 35.0, "C3": 50.0, "C4": 35.0}
NOT_SCRUBBED = "C4"
PLACES = 24
END_OF = {
    "passivation": "capacity_limit",
    "pore_closure": "capacity_limit",
    "unreduced_oxide": "capacity_limit",
    "additive_depletion": "capacity_limit",
    "shedding": "capacity_limit",
    "hydrogen": "cannot_charge",
    "flooding": "voltage_limit",
    "carbon_corrosion": "voltage_limit",
    "carbonate_blocking": "voltage_limit",
    "contact_loss": "voltage_limit",
    "leak": "leak",
    "short": "short",
    "lead_off": "lab_fault",
}


def scales_d(formula: Formula, regime: Regime, chamber: str) -> dict[str, float]:
    """Give the scale of each mode's lifetime in days: what the laboratory would find if it knew."""
    sulfide = formula.share if "sulfide" in formula.additive else 0.0
    bismuth = "bismuth" in formula.additive
    warm, cold = CHAMBERS[chamber] >= 50, CHAMBERS[chamber] <= 20
    fine, coarse = formula.iron == "carbonyl iron", formula.iron == "atomised iron"
    felt = formula.air_electrode.startswith("carbon")
    dirty = chamber == NOT_SCRUBBED
    quick = regime.discharge_h < 10

    def scale(base: float, *effects: tuple[bool, float]) -> float:
        return base * float(np.prod([effect for holds, effect in effects if holds]))

    return {
        "passivation": scale(
            300, (sulfide == 0, 0.42), (0 < sulfide <= 0.01, 0.75), (sulfide >= 0.04, 1.6), (quick, 0.8),
            (cold, 0.8), (coarse, 0.85), (formula.LiOH_mol_L > 0, 1.2),
        ),
        "pore_closure": scale(420, (fine, 0.8), (warm, 0.6), (formula.KOH_mol_L >= 8, 0.85), (coarse, 1.5)),
        "unreduced_oxide": scale(560, (not quick, 0.8), (formula.LiOH_mol_L > 0, 1.4), (coarse, 0.7)),
        "additive_depletion": scale(
            420, (sulfide == 0, 50.0), (0 < sulfide <= 0.01, 0.6), (sulfide >= 0.08, 1.8)
        ),
        "hydrogen": scale(620, (not bismuth, 0.5), (warm, 0.75)),
        "shedding": scale(640, (formula.iron == "reduced magnetite", 0.5), (quick, 0.8)),
        "flooding": scale(640, (not felt and formula.KOH_mol_L >= 8, 0.5), (warm, 0.8)),
        "carbon_corrosion": scale(450, (not felt, 50.0), (warm, 0.55)),
        "carbonate_blocking": scale(900, (dirty, 0.3), (formula.KOH_mol_L >= 8, 0.8)),
        "contact_loss": 1500.0,
        "leak": scale(1700, (warm, 0.6)),
        "short": scale(1900, (formula.iron == "reduced magnetite", 0.7)),
        "lead_off": 1800.0,
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Story:
    """One cell's life. ``root`` is what truly ends it; ``end`` why its test stopped, empty while it runs.

    ``stage`` is how far the laboratory has come with it: built, on test, ended, opened, sampled, measured,
    judged, closed. ``severity`` (0 to 1) is how far the root had come when the test stopped.
    """

    number: int
    code: str
    build: str
    built_on: dt.date
    formula: Formula
    revision: int
    regime: Regime
    chamber: str
    started: dt.datetime | None
    ended: dt.datetime | None
    end: str
    root: str
    contributing: tuple[str, ...]
    severity: float
    cycles: int
    capacity_Ah: float
    stage: str
    opened: dt.datetime | None
    seed: int
    time_zero: bool = False

    @property
    def temperature_C(self) -> float:
        """Give the held temperature."""
        return CHAMBERS[self.chamber]

    @property
    def censored(self) -> bool:
        """Tell whether its end says nothing of failure."""
        return self.end in {"", "planned", "diagnosis", "lab_fault"}

    @property
    def coulombic_efficiency(self) -> float:
        """Give the share of charge that comes back."""
        usual = 0.88 if self.root == "hydrogen" else 0.97 if "bismuth" in self.formula.additive else 0.955
        return min(0.985, usual * float(self.rng("efficiency").normal(1, 0.006)))

    @property
    def charge_lost_Ah(self) -> float:
        """Give, nearly, the charge that did not come back over the life: it made gas of water."""
        return 0.9 * self.capacity_Ah * self.cycles * (1 / self.coulombic_efficiency - 1)

    @property
    def state_at_stop(self) -> str:
        """Say how charged the cell stood when its test stopped."""
        if self.end in {"capacity_limit", "voltage_limit", "planned", "diagnosis"}:
            return "discharged"
        return "charged" if self.end == "cannot_charge" else "unknown"

    @property
    def dissected(self) -> bool:
        """Tell whether it was opened."""
        return self.opened is not None

    def rng(self, purpose: str) -> Rng:
        """Give the chance of one purpose, the same whenever it is asked for."""
        return np.random.default_rng([self.seed, *purpose.encode()])


def invent(cells: int, *, now: dt.datetime, seed: int) -> list[Story]:
    """Invent the lives of a laboratory's cells, in the order in which they were built."""
    rng = np.random.default_rng([seed, cells])
    stories = [story for batch in _batches(cells, now, rng) for story in _live(batch, now, rng)]
    return _dissect(stories, now, rng)


@dataclass(frozen=True, slots=True)
class _Batch:
    number: int
    first: int
    size: int
    built_on: dt.date
    formula: Formula
    regime: Regime
    chambers: tuple[str, ...]
    revision: int
    luck: float
    begins: bool
    time_zero: bool


def _batches(cells: int, now: dt.datetime, rng: Rng) -> Iterator[_Batch]:
    """Spread builds over two and a half years; a few cells a build, one recipe, one or two chambers."""
    sizes = [2] * 3 if cells < 12 else []
    while sum(sizes) < cells:
        sizes.append(min(int(rng.integers(3, 7)), cells - sum(sizes)))
    span, first, zeros = 900, 0, set(TIME_ZERO)
    order = [number % len(FORMULAS) for number in range(len(sizes))]
    rng.shuffle(order)
    for number, size in enumerate(sizes):
        last = number == len(sizes) - 1
        age = 5 if last else span * (1 - number / len(sizes)) ** 1.7 + 12 + float(rng.uniform(-4, 4))
        revision = 2 if FORMULAS[order[number]].code in REVISED and age < 450 else 1
        formula = FORMULAS[order[number]]
        regime = REGIMES[int(rng.choice(3, p=[0.42, 0.43, 0.15]))]
        homes = list(rng.choice(list(CHAMBERS), size=2, replace=False, p=[0.22, 0.34, 0.24, 0.2]))
        chambers = tuple(homes if rng.random() < 0.45 else homes[:1])
        yield _Batch(
            number, first, size, (now - dt.timedelta(days=age)).date(), formula, regime, chambers,
            revision, float(np.exp(rng.normal(0, 0.12))), number < len(sizes) - max(1, len(sizes) // 14),
            formula.code in zeros,
        )  # fmt: skip
        first += size
        zeros.discard(formula.code)


def _live(batch: _Batch, now: dt.datetime, rng: Rng) -> Iterator[Story]:
    noon = dt.datetime.combine(batch.built_on, dt.time(12), now.tzinfo)
    for place in range(batch.size):
        number = batch.first + place
        chamber = batch.chambers[place % len(batch.chambers)]
        story = Story(
            number, f"SP-{401 + number:04}", f"B{101 + batch.number}", batch.built_on, batch.formula,
            batch.revision, batch.regime, chamber, None, None, "", "", (), 0.0, 0,
            0.6 * float(rng.normal(1, 0.03)), "built", None, int(rng.integers(2**31)),
            batch.begins and batch.time_zero and place == 0,
        )  # fmt: skip
        if not batch.begins:
            yield story
            continue
        begun = noon + dt.timedelta(days=int(rng.integers(2, 7)), hours=float(rng.uniform(-3, 4)))
        yield _end(replace(story, started=begun.replace(microsecond=0)), batch.luck, now, rng)


def _end(story: Story, luck: float, now: dt.datetime, rng: Rng) -> Story:
    assert story.started is not None
    scales = scales_d(story.formula, story.regime, story.chamber)
    lives = {mode: luck * scale * float(rng.weibull(2.6)) for mode, scale in scales.items()}
    root = min(lives, key=lambda mode: lives[mode])
    days = max(lives[root], 12.0)
    near = tuple(
        mode for mode, life in lives.items() if mode != root and life < 1.35 * days and mode != "lead_off"
    )
    stops = {"planned": float(rng.choice([120, 180, 240])), "diagnosis": float(rng.uniform(40, 200))}
    chances = {"planned": 0.3, "diagnosis": 0.06}
    end, lived = END_OF[root], days
    for reason, day in stops.items():
        if rng.random() < chances[reason] and day < lived:
            end, lived = reason, day
    most = 420 * story.regime.cycle_h / 24
    if story.time_zero:
        most = FORMATION * story.regime.cycle_h / 24
    if lived > most:
        end, lived = "planned", most
    ended: dt.datetime | None = story.started + dt.timedelta(days=lived)
    if ended is not None and ended > now - dt.timedelta(hours=8):
        end, lived, ended = "", (now - story.started) / dt.timedelta(days=1), None
    cycles = max(3, int(lived * 24 / story.regime.cycle_h))
    if ended is not None:
        ended = (story.started + dt.timedelta(hours=cycles * story.regime.cycle_h)).replace(microsecond=0)
    return replace(
        story, ended=ended, end=end, root=root, contributing=near[:2], severity=min(1.0, lived / days),
        cycles=cycles, stage="ended" if ended else "on test",
    )  # fmt: skip


SHARES = (("ended", 0.16), ("opened", 0.04), ("sampled", 0.1), ("measured", 0.13), ("judged", 0.15))
AGES_D = {
    "opened": (0.05, 0.3), "sampled": (4, 12), "measured": (16, 30), "judged": (34, 60), "closed": (70, 900),
}  # fmt: skip


def _dissect(stories: Sequence[Story], now: dt.datetime, rng: Rng) -> list[Story]:
    """Let the bench work off what ended, the oldest first; what ended last still waits."""
    ended = sorted((s for s in stories if s.ended), key=lambda s: s.ended or now, reverse=True)
    stages: dict[str, str] = {}
    waiting = list(ended)
    for stage, share in SHARES:
        count = max(1 if len(ended) >= len(SHARES) else 0, round(share * len(ended)))
        for story in waiting[:count]:
            stages[story.code] = stage
        waiting = waiting[count:]
    stages |= {story.code: "closed" for story in waiting}
    return [_open(story, stages.get(story.code, story.stage), now, rng) for story in stories]


def _open(story: Story, stage: str, now: dt.datetime, rng: Rng) -> Story:
    if stage not in AGES_D or story.ended is None:
        return replace(story, stage=stage)
    youngest, oldest = AGES_D[stage]
    age = float(rng.uniform(youngest, min(oldest, youngest + 14)))
    soon = story.ended + dt.timedelta(days=float(rng.gamma(2.2, 7)) + 1)
    opened = min(max(soon, now - dt.timedelta(days=oldest)), now - dt.timedelta(days=age))
    opened = max(opened, story.ended + dt.timedelta(hours=2))
    if stage != "opened":  # people open cells in the morning
        opened = opened.replace(hour=int(rng.integers(8, 11)), minute=int(rng.integers(60)), second=0)
        if opened <= story.ended:
            opened += dt.timedelta(days=1)
    return replace(story, stage=stage, opened=opened.replace(microsecond=0))
