"""What the words of a header say of the radiation: a hint of the tube, or that no tube known here made it."""

import re

from teardown.science.crystallography.radiation import NAMES, nearest_anode
from teardown.science.errors import Remark

# "CuKa1", "Cu K-alpha", "Co Kα"; not "Fe-Kathode", "Fe K42"
LINE = r"\b(cu|co|mo|cr|fe)[\s_-]*k[\s_\\-]*(?:alpha|α|a(?![a-z]))"
NAMED = (
    r"(?:anode|tube|target|radiation)(?:[\s_]*(?:material|element|type))?\W{0,12}(cu|co|mo|cr|fe)(?![a-jl-z])"
)
TUBE = re.compile(f"{NAMED}|{LINE}", re.IGNORECASE)
FOREIGN = re.compile(
    r"(?:anode|tube|target)(?:[\s_]*(?:material|element|type))?\W{0,12}(ag|rh|pd|ga|in|w)\b|\b(ag|ga)[\s-]*k"
    r"[\s_-]*(?:alpha|α|a(?![a-z]))",
    re.IGNORECASE,
)
WAVELENGTH = re.compile(r"(?:wavelength|lambda|λ)[^\n]{0,40}?(?<![\d.])(\d\.\d{2,7})", re.IGNORECASE)
PARTICLES = re.compile(r"\b(neutrons?|electrons?)\b", re.IGNORECASE)


def anode_in(header: str) -> str | None:
    """Find a hint of the tube in the words of a header."""
    length = WAVELENGTH.search(header)
    if length:
        return nearest_anode(float(length[1]))
    tube = TUBE.search(header)
    return (tube[1] or tube[2]).lower() if tube else None


def foreign_radiation(header: str, wavelength_A: float | None = None) -> tuple[Remark, ...]:
    """Remark on radiation that none of the tubes known here sends out."""
    written = WAVELENGTH.search(header)
    length = wavelength_A or (float(written[1]) if written else None)
    known = ", ".join(name.removesuffix(" Kα") for name in NAMES.values())
    probe, tube = PARTICLES.search(header), FOREIGN.search(header)
    if probe and not TUBE.search(header):
        found = f'The header speaks of "{probe[1]}"'
    elif length is not None and nearest_anode(length) is None:
        found = f"The file names a wavelength of {length:g} Å"
    elif tube:
        found = f"The file names a tube of {(tube[1] or tube[2]).capitalize()}"
    else:
        return ()
    message = (
        f"{found}, and the fit knows X-rays of {known} tubes only: shares fitted here would mean nothing."
    )
    return (
        Remark(
            "RADIATION_UNKNOWN",
            "error",
            message,
            length,
            remedy="Bring the phase fractions of a refinement made elsewhere instead.",
        ),
    )
