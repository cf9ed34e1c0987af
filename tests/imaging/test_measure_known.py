"""What an earlier result knows of light, noise and slopes is used again where levels are given."""

import pytest

from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, draw_region, measure_again, pin_levels
from teardown.imaging.models import FieldMeasure, ImagingSession, SectionResult
from tests.imaging.pictures import section_file
from tests.makers import make_user

pytestmark = [pytest.mark.long, pytest.mark.django_db]
LEVELS = {"pore": 0.14, "oxide": 0.574, "metal": 0.76}


def pinned_twice(drawn):
    """Two sittings with one picture each and equal levels: pinned after and before it was first measured."""
    operator, runs = make_user("operator"), []
    for number, before in enumerate((False, True)):
        session = ImagingSession.objects.create(name=f"Sitting {number}")
        if before:
            pin_levels(session=session, by=operator, **LEVELS)
        bytes_ = section_file(1, size=144) + bytes(number)
        one = add_micrograph(picture=bytes_, name="a.png", by=operator, session=session)
        work_off()
        if not before:
            pin_levels(session=session, by=operator, **LEVELS)
        if drawn:
            draw_region(micrograph=one, kind="outline", points=[[0, 0], [120, 0], [120, 120]], by=operator)
        work_off()
        runs.append(SectionResult.objects.filter(micrograph=one, levels__source="pinned").latest("pk").run)
    return operator, runs


def test_numbers_with_and_without_what_was_known_are_the_same():
    """Values to the last digit, intervals all but that; what was used stands in the run, and asking again is
    the same run."""
    operator, (with_known, without) = pinned_twice(drawn=False)
    assert with_known.settings["known"]["noise"] > 0
    assert "known" not in without.settings
    used, anew = (
        {row.quantity: row for row in FieldMeasure.objects.filter(run=run)} for run in (with_known, without)
    )
    assert used.keys() == anew.keys()
    for quantity, row in used.items():
        assert row.value == anew[quantity].value
        assert (row.low, row.high) == pytest.approx((anew[quantity].low, anew[quantity].high), rel=0.02)
    found = [SectionResult.objects.get(run=run) for run in (with_known, without)]
    of_slopes = {"slopes", "threshold_uncertainty", "half_range", "open_below", "open_above"}
    kept = [{key: one.sums[key] for key in one.sums.keys() - of_slopes} for one in found]
    assert kept[0] == kept[1]
    assert with_known.settings["known"]["slopes"]["edge"]["step"] == 0.08
    before = Run.objects.count()
    measure_again(micrographs=[one.micrograph for one in found], by=operator)
    assert Run.objects.count() == before


def test_an_outline_drawn_since_makes_what_was_known_of_other_pixels_useless():
    """Noise and light were found on pixels that no longer all count: they are found anew."""
    _, (run, _) = pinned_twice(drawn=True)
    assert run.settings["regions"]["outline"]
    assert "known" not in run.settings
