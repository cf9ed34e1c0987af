"""Micrograph files of phantoms, and samples to tie them to."""

import io
from functools import cache

import numpy as np
from PIL import Image

from teardown.dissection.models import BenchSession, Sample
from teardown.science.stereology.exposures import Exposure, expose
from teardown.science.stereology.phantoms import Microstructure, draw_section
from tests.makers import NOW, make_user


@cache
def section_file(seed=1, *, size=256, form="PNG", strip=0, covered=0.6, bits=8, bar=0):
    """A picture file of a small phantom section."""
    section = draw_section(
        Microstructure(metal=0.4, grain_radius_px=11, covered=covered, rim_px=5),
        height=size,
        width=size,
        seed=seed,
    )
    image = expose(section, Exposure(noise=0.03, strip_px=strip, bits=bits, bar_px=bar), seed=seed)
    out = io.BytesIO()
    Image.fromarray(np.asarray(image)).save(out, form)
    return out.getvalue()


def make_sample(code="1234567A", *, by=None):
    """A sample of a bench session: enough to tie micrographs to."""
    by = by or make_user("bench")
    session, _ = BenchSession.objects.get_or_create(
        day=NOW.date(), defaults={"person": by, "place": "fume hood"}
    )
    return Sample.objects.create(code=code, session=session, by=by, at=NOW)
