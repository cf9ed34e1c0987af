"""When a photograph looks blurred. The remark asks for another; it refuses nothing and hides nothing.

The limit is common practice, no source: pictures that are sharp at 1024 px lie above 0.4, the same
blurred with a Gaussian of 3 px below 0.02.
"""

from teardown.science.errors import Remark

BLURRED = 0.05


def blur_remark(measured: float | None) -> Remark | None:
    """Say that a photograph looks blurred, if it does."""
    if measured is None or measured >= BLURRED:
        return None
    return Remark(
        code="photograph.blurred",
        level="warning",
        message="This photograph looks blurred.",
        value=measured,
        remedy="Take another if the piece still lies there; this one is kept in any case.",
    )
