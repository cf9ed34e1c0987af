"""What may be set when a field is measured, and the version of the way it is measured."""

from dataclasses import asdict, dataclass, field

from teardown.science.stereology.bodies import Strictness

VERSION = "2.3"


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of a field measurement; the defaults hold for polished, resin-filled sections in
    backscattered electrons.

    ``goal_half_width`` is the half width of porosity that a sample should reach; ``tile_px`` the side of
    the tiles whose sums are kept; ``largest_gain`` the largest field unevenness that is divided out.
    """

    strictness: Strictness = field(default_factory=Strictness)
    even_field: bool = True
    sensitivity: bool = True
    goal_half_width: float = 0.02
    tile_px: int = 512
    largest_gain: float = 0.75
    edge_sigma_px: float | None = None

    def as_dict(self) -> dict[str, object]:
        """Give the settings as plain data."""
        return asdict(self)
