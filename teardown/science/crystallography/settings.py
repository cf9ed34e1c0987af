"""What a person may choose for a fit."""

from dataclasses import dataclass, field

from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.presence import RISK


@dataclass(frozen=True, slots=True)
class Settings:
    """What a person may choose; the defaults are meant to be left alone.

    ``particle_size_um`` is the range in which the grain diameter is known. ``two_theta_deg`` overrides the
    default range of the tube. ``risk_of_one_too_many`` is the risk that chance names one phase
    among those offered although it is not there.
    """

    two_theta_deg: tuple[float, float] | None = None
    background_terms: int = 8
    humps: tuple[tuple[float, float], ...] = ()
    texture: bool = True
    zero_free: bool = False
    optics: Optics = field(default_factory=Optics)
    particle_size_um: tuple[float, float] | None = None
    risk_of_one_too_many: float = RISK
    limit_esd: float = 3.0
    check_anode: bool = True
    look_for_more: bool = True
    look_for_hump: bool = True
    look_for_k_beta: bool = True
    check_slits: bool = True
