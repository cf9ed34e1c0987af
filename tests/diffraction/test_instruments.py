"""Diffractometers: set, calibrated with a standard, changed, and what their calibrations are good for."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from teardown.diffraction.actions import (
    add_diffractometer,
    calibrate,
    change_diffractometer,
    fit_again,
    phases_for,
)
from teardown.diffraction.models import Calibration, Fit
from teardown.diffraction.rules import standing_of
from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.science.crystallography.parameters import Optics
from tests.diffraction.patterns import make_pattern, make_piece, pattern_file
from tests.makers import make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
SHAPE = Optics(U=0.002, V=-0.001, W=0.003, X=0.02, Y=0.01)
DAY = dt.date(2025, 3, 4)
SIZES = {"iron": 40, "magnetite": 25}
LATER = dt.timedelta(days=10)


@pytest.fixture
def operator():
    return make_user("operator")


@pytest.fixture
def instrument(operator):
    return add_diffractometer(
        name="the long arm", radiation="cu", slits="fixed", monochromator_2theta_deg=26.6, by=operator
    )


def scan(operator, instrument, on=DAY):
    """Bring the scan of a standard; give the pattern."""
    file = pattern_file(
        {"silicon": 1}, optics=SHAPE, sizes_nm={"silicon": 5000}, highest=40_000,
        range_deg=(20.0, 100.0, 0.03),
    )  # fmt: skip
    return make_pattern(
        operator, file=file, name="silicon.xy", diffractometer=instrument, measured_on=on, fit=False
    )


def calibrated(operator, instrument, on=DAY):
    calibrate(pattern=scan(operator, instrument, on), phase="silicon", by=operator)
    work_off()
    return Calibration.objects.latest("pk")


def measured(operator, instrument, on=DAY + LATER):
    file = pattern_file(
        {"iron": 0.6, "magnetite": 0.4}, optics=SHAPE, sizes_nm=SIZES, range_deg=(20, 90, 0.04)
    )
    pattern = make_pattern(
        operator, file=file, diffractometer=instrument, measured_on=on, phases=["iron", "spinel"]
    )
    work_off()
    return Fit.objects.get(pattern=pattern)


def flags(fit):
    return {flag["code"] for flag in fit.flags}


def test_a_pattern_takes_what_its_instrument_is_set_to(operator, instrument):
    pattern = make_pattern(operator, diffractometer=instrument, fit=False)
    assert (pattern.radiation, pattern.slits) == ("cu", "fixed")
    assert pattern.monochromator_2theta_deg == 26.6
    other = make_pattern(operator, diffractometer=instrument, radiation="co", name="2.xy", fit=False)
    assert other.monochromator_2theta_deg is None  # its angle is for the other tube


def test_a_calibration_gives_sizes_to_what_is_measured_after_it(operator, instrument):
    before = measured(operator, instrument)
    assert "NOT_CALIBRATED" in flags(before)
    assert before.fractions.get(phase="iron").details["size_nm"] is None
    found = calibrated(operator, instrument)
    assert found.optics["W"] == pytest.approx(SHAPE.W, rel=0.15)
    fit_again(pattern=before.pattern, phases=["iron", "spinel"], by=operator)
    work_off()
    after = Fit.objects.first()
    assert after.fractions.get(phase="iron").details["size_nm"] == pytest.approx(40, rel=0.1)
    assert flags(after).isdisjoint({"NOT_CALIBRATED", "CALIBRATION_STALE"})


def test_a_change_makes_older_calibrations_stale(operator, instrument, client):
    calibrated(operator, instrument)
    change_diffractometer(
        instrument=instrument, changed_on=DAY + dt.timedelta(days=5), reason="new tube", by=operator
    )
    fit = measured(operator, instrument)
    assert "CALIBRATION_STALE" in flags(fit)
    assert fit.fractions.get(phase="iron").details["size_nm"] is None
    client.force_login(operator)
    assert "changed since" in client.get(reverse("diffractometers")).content.decode()


def test_a_calibration_grows_old(operator, instrument):
    calibrated(operator, instrument)
    fit = measured(operator, instrument, DAY + dt.timedelta(days=500))
    (flag,) = [f for f in fit.flags if f["code"] == "CALIBRATION_STALE"]
    assert "500 days" in flag["message"]
    assert fit.fractions.get(phase="iron").details["size_nm"]


@pytest.mark.parametrize(
    ("calibrated_on", "changed_on", "after", "standing"),
    [
        (None, None, 0, "none"),
        (DAY, None, 10, "stands"),
        (DAY, None, 400, "old"),
        (DAY, DAY, 10, "stands"),
        (DAY, DAY + dt.timedelta(days=1), 10, "changed"),
        (DAY, DAY + dt.timedelta(days=20), 10, "stands"),
    ],
)
def test_a_calibration_stands_until_a_change_or_its_age(calibrated_on, changed_on, after, standing):
    assert standing_of(calibrated_on, changed_on, DAY + dt.timedelta(days=after), 365) == standing


def test_a_result_before_a_newer_calibration_says_so(operator, instrument, client):
    fit = measured(operator, instrument)
    calibrated(operator, instrument)
    client.force_login(operator)
    page = client.get(reverse("pattern", args=[fit.pattern_id])).content.decode()
    assert "this rests on another calibration" in page


def test_the_pages_of_instruments_lead_through_it_all(operator, client):
    client.force_login(operator)
    said = {"name": "the short arm", "radiation": "co", "slits": "variable", "calibration_days": 90}
    assert client.post(reverse("diffractometers"), said).status_code == 302
    assert client.post(reverse("diffractometers"), said).status_code == 422
    page = client.get(reverse("diffractometers")).content.decode()
    assert "the short arm" in page
    assert "never calibrated" in page
    pattern = scan(operator, add_diffractometer(name="third", radiation="cu", by=operator))
    assert "Calibrate third" in client.get(reverse("pattern", args=[pattern.pk])).content.decode()
    client.post(reverse("pattern_calibrate", args=[pattern.pk]), {"phase": "silicon"})
    work_off()
    page = client.get(reverse("diffractometers")).content.decode()
    assert "with silicon" in page
    change = reverse("diffractometer_change", args=[pattern.diffractometer_id])
    client.post(change, {"changed_on": "2025-03-01", "reason": "new filament"})
    client.post(change, {"changed_on": "", "reason": ""})
    pattern.diffractometer.refresh_from_db()
    assert pattern.diffractometer.changed_on == dt.date(2025, 3, 1)


def test_what_cannot_calibrate_is_refused(operator, instrument):
    bare = make_pattern(operator, fit=False)
    with pytest.raises(ValidationError, match="names no instrument"):
        calibrate(pattern=bare, phase="silicon", by=operator)
    mixed = pattern_file({"silicon": 0.3, "iron": 0.7}, range_deg=(20.0, 90.0, 0.05))
    wrong = make_pattern(operator, file=mixed, diffractometer=instrument, name="2.xy", fit=False)
    calibrate(pattern=wrong, phase="silicon", by=operator)
    work_off()
    run = Run.objects.get(function="diffraction.calibrate")
    assert run.state == Run.State.FAILED
    assert "standard alone" in run.error
    assert not Calibration.objects.exists()
    with pytest.raises(ValidationError, match="what was changed"):
        change_diffractometer(instrument=instrument, changed_on=DAY, reason=" ", by=operator)


def test_a_cell_that_stopped_discharged_is_offered_feroxyhyte():
    cell = make_cell("SP-0452")
    sample = make_piece("2234567A", cell=cell)
    assert "feroxyhyte" not in phases_for(sample)
    test = make_test(cell, end="capacity_limit")
    type(test).objects.filter(pk=test.pk).update(state_at_stop="discharged")
    assert "feroxyhyte" in phases_for(sample)
    assert len(phases_for(sample)) <= 8
