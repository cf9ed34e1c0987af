"""Layers below the face on the page: what is told of each, and what earlier results cannot tell."""

import pytest
from django.template.loader import render_to_string

from teardown.imaging.dossier.drawings import pooled_profile_figure, profile_figure
from teardown.imaging.dossier.layers import pooled_rows, tables_of
from teardown.imaging.measure.samples import _layers
from teardown.imaging.models import SectionResult
from teardown.page.figures import draw_figure

EARLIER = {"depth_um": 5.0, "depth_px": 50.0, "porosity": 0.3, "oxide_fraction": 0.1, "area_px": 9000}
LATER = {"coverage": 0.4, "outline_steps": 500, "covered_px": 160.0, "outline_px": 400.0}


def result(*layers, number=1):
    """A result with layers of equal depth, in no book."""
    n = len(layers)
    profile = [{"start": k / n, "end": (k + 1) / n} | layer for k, layer in enumerate(layers)]
    return SectionResult(run_id=number, sums={"profile": profile, "profiles": [], "pixel_size_um": 0.1})


def in_numbers(table, *, pooled=False):
    """The table of layers as it stands on the page."""
    context = {"rows": table, "caption": "Below", "pooled": pooled, "scaled": not pooled}
    return " ".join(render_to_string("imaging/_layers.html", context).split())


def test_a_layer_tells_its_coverage_and_what_it_rests_on():
    """A share with its steps; where the outline is too little it says so, and the curve has a gap."""
    little = LATER | {"coverage": None, "outline_steps": 40}
    found = result(EARLIER | LATER, EARLIER | LATER, EARLIER | little)
    (table,) = tables_of(found)
    told = in_numbers(table.rows)
    assert "40.0 %" in told
    assert ">500<" in told
    assert "too little outline" in told
    assert "oxide coverage" in draw_figure(profile_figure(found))


def test_layers_measured_before_their_outline_was_followed_still_show():
    """Porosity and oxide stand; coverage is not told, and no curve of it is drawn."""
    found = result(EARLIER, EARLIER)
    (table,) = tables_of(found)
    assert not table.outlined
    assert "not told" in in_numbers(table.rows)
    assert "oxide coverage" not in draw_figure(profile_figure(found))
    pooled = [*_layers([found, result(EARLIER | LATER, EARLIER | LATER, number=2)], set())]
    assert pooled[0]["porosity"]["value"] == pytest.approx(0.3)
    assert pooled[0]["coverage"] is None
    older = [{key: one[key] for key in ("start", "end", "porosity", "oxide_fraction")} for one in pooled]
    assert "not told" in in_numbers(pooled_rows(older), pooled=True)
    assert "oxide coverage" not in draw_figure(pooled_profile_figure(older))


def test_a_field_left_out_of_coverage_is_left_out_of_its_layers_too():
    """Its porosity counts, its outline does not."""
    fields = [result(EARLIER | LATER, number=number) for number in (1, 2)]
    fields.append(result(EARLIER | LATER | {"coverage": 1.0, "covered_px": 400.0}, number=3))
    (with_all,), (without,) = _layers(fields, set()), _layers(fields, {3})
    assert with_all["coverage"]["value"] == pytest.approx(0.6)
    assert without["coverage"]["value"] == pytest.approx(0.4)
    assert without["porosity"]["n"] == 3
    assert "coverage" in draw_figure(pooled_profile_figure([without, without]))
