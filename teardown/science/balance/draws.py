"""From inputs with doubts to values: one axis of chance for each measurement, used alike by both methods.

One measurement is one draw: the charge of the last discharge stands in the oxide, in the loss and in the
ledger with the same error. The Monte Carlo draws every axis at random; first-order propagation moves one at
a time.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from teardown.science.balance.account import Values, account
from teardown.science.balance.inputs import Inputs, Quantity
from teardown.science.balance.microabsorption import uncovered

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Axes:
    """The values at many points of chance; ``names`` says which measurement each axis belongs to."""

    names: tuple[str, ...]
    values: Values


class _Chance:
    """Hand out one axis of standard normal chance after another, and remember whose it was."""

    def __init__(self, z: Floats | None, points: int, *, straight: bool) -> None:
        self.z, self.points, self.straight = z, points, straight
        self.names: list[str] = []

    def axis(self, name: str) -> Floats:
        self.names.append(name)
        return np.zeros(self.points) if self.z is None else self.z[len(self.names) - 1]

    def normal(self, name: str, quantity: Quantity) -> Floats | float:
        return quantity.value if quantity.u == 0 else quantity.value + quantity.u * self.axis(name)

    def uniform(self, name: str, low: float, high: float) -> Floats | float:
        if low == high:
            return low
        z = self.axis(name)
        middle, spread = (low + high) / 2, high - low
        return middle + spread / np.sqrt(12) * z if self.straight else low + spread * special.ndtr(z)


def values_at(inputs: Inputs, z: Floats | None, points: int = 1, *, straight: bool = False) -> Axes:
    """Turn standard normal chance of shape (axes, points) into values; None stands for no chance at all.

    ``straight`` moves uniform inputs along a line instead of through their distribution.
    """
    chance = _Chance(z, points, straight=straight)
    built, recovered, history = inputs.built, inputs.recovered, inputs.history
    fractions = _fractions(inputs, chance)
    last = chance.normal("last discharge", history.last_Ah)
    first = np.minimum(chance.normal("first plateau", _plateau(inputs, history.last_first_Ah)), last)
    water, share = inputs.water, inputs.oxide_at_reference
    values = Values(
        solids=inputs.powder.solids,
        fractions=tuple(fractions),
        densities=tuple(
            np.maximum(
                chance.normal(f"density of {solid.name}", Quantity(solid.density_g_per_cm3, solid.density_u)),
                0.1,
            )
            for solid in inputs.powder.solids
        ),
        iron_powder_g=chance.normal("iron mass", built.iron_powder_g),
        purity=chance.normal("purity of the iron", built.purity),
        inert_g=chance.normal("binder and carbon mass", built.inert_g),
        inert_density=np.maximum(
            chance.normal(
                "density of binder and carbon", Quantity(built.inert_density_g_per_cm3, built.inert_density_u)
            ),
            0.1,
        ),
        pore_like=built.pore_like,
        area_cm2=chance.normal("electrode area", built.area_cm2),
        oxide_built_Ah=chance.normal("oxide built in", built.oxide_Ah),
        dry_g=chance.normal("dry mass", _dry(inputs)),
        thickness_um=None
        if recovered.thickness_um is None
        else chance.normal("thickness", recovered.thickness_um),
        rest_Ah=np.maximum(chance.normal("charge lost at rest", recovered.rest_Ah), 0.0),
        drying_Ah=np.maximum(chance.normal("oxidation in drying", recovered.drying_Ah), 0.0),
        converted=chance.uniform("hydroxide converted at rest", *recovered.converted),
        reference_Ah=chance.normal("reference capacity", history.reference_Ah),
        reference_first_Ah=chance.normal(
            "first plateau at the reference", _plateau(inputs, history.reference_first_Ah)
        ),
        last_Ah=last,
        last_first_Ah=first,
        charge_total_Ah=chance.normal("total charge", history.charge_total_Ah),
        net_charge_Ah=chance.normal("net charge", history.net_charge_Ah),
        discharged=0.0 if history.state == "charged" else 1.0,
        water_lost_g=None if water is None else chance.normal("water lost", water.lost_g),
        water_weighed=water is not None and water.weighed,
        carbonate_formed_mol=0.0 if water is None else chance.normal("carbonate", water.carbonate_formed_mol),
        oxide_at_reference=None
        if share is None
        else np.clip(chance.normal("oxide at the reference", share), 0.0, 1.0),
    )
    return Axes(tuple(chance.names), values)


def monte_carlo(inputs: Inputs, draws: int, seed: int) -> dict[str, Floats]:
    """Draw every quantity of the balance (JCGM 101:2008), shape (draws,) each.

    The same seed gives every cell the same standard normal numbers, so that two cells differ by their
    measurements alone.
    """
    axes = len(values_at(inputs, None).names)
    found = account(values_at(inputs, _standard_normal(axes, draws, seed), draws).values)
    return {name: np.broadcast_to(np.asarray(value, dtype=float), (draws,)) for name, value in found.items()}


def first_order(inputs: Inputs) -> tuple[dict[str, float], dict[str, float], dict[str, dict[str, float]]]:
    """Propagate to first order by moving one axis at a time (JCGM 100:2008).

    Returns
    -------
    values, uncertainties : dict of str to float
        The quantities at the measured values, and their standard uncertainties.
    shares : dict of str to dict of str to float
        For each quantity, the share of its variance that each measurement brings.
    """
    names = values_at(inputs, None).names
    step = 0.05
    moves = np.hstack([np.zeros((len(names), 1)), step * np.eye(len(names)), -step * np.eye(len(names))])
    points = moves.shape[1]
    found = account(values_at(inputs, moves, points, straight=True).values)
    values, doubts, shares = {}, {}, {}
    for name, value in found.items():
        at = np.broadcast_to(np.asarray(value, dtype=float), (points,))
        slopes = (at[1 : len(names) + 1] - at[len(names) + 1 :]) / (2 * step)
        variance = float(np.sum(slopes**2))
        values[name], doubts[name] = float(at[0]), float(np.sqrt(variance))
        shares[name] = _by_measurement(names, slopes**2 / variance) if variance > 0 else {}
    return values, doubts, shares


def _by_measurement(names: tuple[str, ...], parts: Floats) -> dict[str, float]:
    added: dict[str, float] = {}
    for name, part in zip(names, parts, strict=True):
        added[name] = added.get(name, 0.0) + float(part)
    return dict(sorted(added.items(), key=lambda item: -item[1]))


def _fractions(inputs: Inputs, chance: _Chance) -> Floats:
    """Draw weight fractions with their covariance, correct for grain size, and add the amorphous share."""
    powder = inputs.powder
    weights, vectors = np.linalg.eigh(powder.covariance)
    drawn = np.repeat((powder.fractions / powder.fractions.sum())[:, None], chance.points, axis=1)
    for weight, vector in zip(weights, vectors.T, strict=True):
        if weight > 1e-14:
            drawn = drawn + np.sqrt(weight) * vector[:, None] * chance.axis("phase fractions")
    drawn = np.clip(drawn, 0.0, None)
    whole = drawn.sum(axis=0)
    # a draw that leaves nothing of any phase says nothing: the measured fractions stand for it
    drawn = np.where(whole > 0, drawn, np.clip(powder.fractions, 0.0, None)[:, None])
    drawn = drawn / drawn.sum(axis=0)
    if powder.grain_um is not None and powder.absorption_per_cm is not None and not powder.corrected:
        low, high = np.log(powder.grain_um)
        grain = np.exp(np.asarray(chance.uniform("grain size", float(low), float(high))))
        densities = np.array([solid.density_g_per_cm3 for solid in powder.solids])
        drawn = uncovered(drawn, powder.absorption_per_cm, densities, grain)
    hydroxide = [i for i, solid in enumerate(powder.solids) if solid.part == "hydroxide"]
    if hydroxide and powder.amorphous != (0.0, 0.0):
        share = chance.uniform("amorphous share", *powder.amorphous)
        drawn = drawn * (1 - share)
        drawn[hydroxide[0]] = drawn[hydroxide[0]] + share
    return np.asarray(drawn)


def _plateau(inputs: Inputs, plateau: Quantity) -> Quantity:
    if inputs.history.reference_electrode:
        return plateau
    return Quantity(plateau.value, float(np.hypot(plateau.u, inputs.history.plateau_u * plateau.value)))


def _dry(inputs: Inputs) -> Quantity:
    """Widen the doubt of the dry mass by the water that precipitated hydroxide holds."""
    share = sum(
        float(fraction)
        for fraction, solid in zip(inputs.powder.fractions, inputs.powder.solids, strict=True)
        if solid.part == "hydroxide"
    )
    dry = inputs.recovered.dry_g
    return Quantity(dry.value, float(np.hypot(dry.u, inputs.recovered.hydrous * share * dry.value)))


@lru_cache(maxsize=4)
def _standard_normal(axes: int, draws: int, seed: int) -> Floats:
    z = np.random.default_rng(seed).standard_normal((axes, draws))
    z.setflags(write=False)
    return z
