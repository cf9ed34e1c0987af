"""The ledger: the lost capacity in four parts that add up, or the range where one of them cannot be told."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.balance.draws import first_order
from teardown.science.balance.inputs import TIMES_U, Inputs, Quantity
from teardown.science.balance.quantiles import quantiles
from teardown.science.balance.trust import LEDGER_PART, Trust
from teardown.science.estimate import Estimate

TERMS = {
    "ledger_locked_Ah": "oxide that can no longer be reduced",
    "ledger_metal_Ah": "metal that can no longer be reached",
    "ledger_shed_Ah": "iron shed or lost",
    "ledger_less_per_atom_Ah": "less charge from each atom that is still reached",
}
NEED_TIME_ZERO = ("ledger_locked_Ah", "ledger_metal_Ah")


@dataclass(frozen=True, slots=True)
class Term:
    """One part of the loss in Ah, and as a share of the loss where that may be said.

    ``span`` is set instead of a plain reading where no time-zero cell was opened: the values, in Ah, that the
    part takes if none or all of the iron not reached at the reference was oxide then.
    """

    key: str
    words: str
    charge_Ah: Estimate | None
    share: Estimate | None
    span: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Ledger:
    """The loss in Ah and its parts; ``shares_shown`` and ``greyed`` tell how it may be drawn.

    ``proportional_Ah`` and ``first_Ah`` bound what locked oxide alone can explain if nothing else is known:
    locked atoms taken from reached and unreached iron alike, or from reached iron first.
    """

    loss_Ah: Estimate
    terms: tuple[Term, ...]
    shares_shown: bool
    proportional_Ah: float
    first_Ah: float
    greyed: tuple[str, ...]
    why_no_shares: str


def ledger_of(
    inputs: Inputs,
    drawn: dict[str, NDArray[np.float64]],
    shown: dict[str, Estimate],
    values: dict[str, float],
    u: dict[str, float],
    trust: Trust,
) -> Ledger:
    """Set out the loss and its parts from the draws of one cell."""
    loss = drawn["loss_Ah"]
    sound = values["loss_Ah"] > TIMES_U * u["loss_Ah"]
    known = inputs.oxide_at_reference is not None
    spans = {} if known else _spans(inputs)
    terms = tuple(
        Term(
            key,
            words,
            shown.get(key),
            _estimate(drawn[key] / loss, "1") if sound and known and key in drawn else None,
            spans.get(key),
        )
        for key, words in TERMS.items()
    )
    why = "" if sound and known else _why_no_shares(known=known)
    return Ledger(
        loss_Ah=shown["loss_Ah"],
        terms=terms,
        shares_shown=sound and known,
        proportional_Ah=values["proportional_Ah"],
        first_Ah=min(
            max(values["loss_Ah"], 0.0),
            max(values["proportional_Ah"], 0.0) / max(values["utilisation"], 1e-9),
        ),
        greyed=trust.reasons.get(LEDGER_PART, ()),
        why_no_shares=why,
    )


def _spans(inputs: Inputs) -> dict[str, tuple[float, float]]:
    """Work out the two parts at both ends of what a time-zero cell could have told."""
    ends = [first_order(replace(inputs, oxide_at_reference=Quantity(share)))[0] for share in (0.0, 1.0)]
    return {key: (min(end[key] for end in ends), max(end[key] for end in ends)) for key in NEED_TIME_ZERO}


def _why_no_shares(*, known: bool) -> str:
    if not known:
        return (
            "No cell of this recipe was opened at time zero, right after formation; until one is, the parts"
            " of locked oxide and unreachable metal can be anything within the ranges shown."
        )
    return "The loss is not three times as large as its own uncertainty, so parts of it mean nothing."


def _estimate(drawn: NDArray[np.float64], unit: str) -> Estimate:
    low, middle, high = quantiles(drawn)
    return Estimate(middle, min(low, middle), max(high, middle), unit, 1, f"Monte Carlo, {drawn.size} draws")
