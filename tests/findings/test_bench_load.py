"""Bench time is given by the lead alone; the load of each day and what comes are told with their grounds."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from django.utils import timezone

from teardown.cycling.models import TestSummary
from teardown.dissection import actions as bench
from teardown.dissection.actions.bench_time import give_bench_time, set_bench_hours
from teardown.dissection.models import BenchTime
from teardown.files.models import Run
from teardown.findings.dossier.bench_load import load_of
from teardown.findings.dossier.waiting import waiting_for
from teardown.records.models import Record, StaleVersion
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead():
    return makers.make_user("lead", username="lead")


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist")


def monday():
    today = timezone.localdate()
    return today + dt.timedelta(days=(7 - today.weekday()) % 7 or 7)


def ended(code="", revision=None, end="capacity_limit"):
    cell = makers.make_cell(code, build=makers.make_build(revision))
    makers.make_test(cell, end=end)
    return cell


def summed_up(test, **values):
    run = Run.objects.create(
        key=f"{Run.objects.count():064}", function="cycling.summarise", function_version="1",
        subject="x:1", asked_at=timezone.now(),
    )  # fmt: skip
    return TestSummary.objects.create(
        test=test, run=run, status="censored-running", n_cycles=100, n_complete=100, **values
    )


def test_bench_time_is_kept_with_how_the_cell_came_by_its_place(lead, chemist):
    cell = ended(end="leak")
    place = waiting_for(lead, timezone.now()).rows[0]
    given = give_bench_time(cell=cell, by=lead, person=chemist, day=monday(), slot="morning",
                            drawn=place.place.drawn, reason=place.reason)  # fmt: skip
    assert (given.person, given.slot, given.drawn) == (chemist, "morning", False)
    assert "it leaked" in given.reason
    assert Record.objects.get(verb="gave bench time").payload["to"] == chemist.pk
    dissection = bench.start_dissection(cell=cell, by=chemist)
    assert dissection.assigned_to == chemist


def test_who_may_not_work_at_the_bench_is_given_no_cell_and_who_is_not_lead_gives_none(lead, chemist):
    cell, operator = ended(), makers.make_user("operator")
    with pytest.raises(ValidationError, match="does not log at the bench"):
        give_bench_time(cell=cell, by=lead, person=operator, day=None)
    with pytest.raises(PermissionDenied):
        give_bench_time(cell=cell, by=chemist, person=chemist, day=None)
    running = makers.make_cell()
    makers.make_test(running)
    with pytest.raises(ValidationError, match="has not ended"):
        give_bench_time(cell=running, by=lead, person=chemist, day=None)
    with pytest.raises(ValidationError, match="of which this is a part"):
        give_bench_time(cell=cell, by=lead, person=chemist, day=None, slot="morning")


def test_two_leads_never_overwrite_each_other_in_silence(lead, chemist):
    cell = ended()
    give_bench_time(cell=cell, by=lead, person=chemist, day=monday())
    with pytest.raises(StaleVersion):
        give_bench_time(cell=cell, by=lead, person=None, day=None, seen=0)
    assert BenchTime.objects.get().person == chemist


def test_a_day_with_more_than_it_has_says_so_and_names_who_stands_twice(lead, chemist):
    set_bench_hours(hours_a_day=4, hours_a_cell=2.5, by=lead, since=timezone.localdate())
    for _ in range(2):
        give_bench_time(cell=ended(), by=lead, person=chemist, day=monday(), slot="morning")
    load = load_of(lead, timezone.now(), 2)
    full = next(day for day in load.days if day.day == monday())
    assert (full.wanted_h, full.has_h, full.over, full.twice) == (5, 4, True, (str(chemist),))
    assert sum(bool(day.given) for day in load.days) == 1


def test_a_running_test_is_forecast_from_its_fade_else_from_its_sisters(lead):
    revision = makers.make_revision()
    fading = makers.make_test(makers.make_cell(build=makers.make_build(revision)))
    summed_up(fading, retention=0.7, metrics={"fade_per_day": {"value": 0.01, "low": 0.005, "high": 0.02}})
    young = makers.make_test(makers.make_cell(build=makers.make_build(revision)), days=10)
    sister = ended(revision=revision)
    life = sister.tests.get()
    lonely = makers.make_test(makers.make_cell())
    load = load_of(lead, makers.NOW, 0)
    found = {one.test.pk: one for one, _ in load.running}
    forecast = found[fading.pk].forecast
    assert (forecast.soonest_days, forecast.likely_days, forecast.latest_days) == (
        pytest.approx(5), pytest.approx(10), pytest.approx(20))  # fmt: skip
    lived = (life.ended_at - life.started_at).total_seconds() / 86_400
    assert found[young.pk].forecast.likely_days == pytest.approx(lived - 10)
    assert (found[lonely.pk].forecast, found[lonely.pk].why) == (None, "no cycling file yet")


def test_what_comes_is_held_against_the_hours_of_the_bench(lead):
    set_bench_hours(hours_a_day=1, hours_a_cell=2.5, by=lead, since=makers.NOW.date())
    for _ in range(4):
        test = makers.make_test(makers.make_cell())
        summed_up(test, retention=0.61, metrics={"fade_per_day": {"value": 0.01, "low": 0.009, "high": 0.02}})
    load = load_of(lead, makers.NOW, 2)
    assert load.weeks[0].ending == pytest.approx(4)
    assert load.weeks[0].waiting_h == pytest.approx((2 + 4) * 2.5 - 5)
    assert load.weeks[-1].waiting_h == 0
    assert "expected to end in 8 weeks; then none would wait" in load.sentence


def test_forecasts_rest_on_curves_and_are_hidden_with_them(client, chemist):
    makers.make_test(makers.make_cell("SP-0555"))
    client.force_login(chemist)
    page = client.get(reverse("waiting")).content.decode()
    assert "What comes" not in page
    assert "SP-0555" not in page
    assert "give" not in page.partition("<main")[2].partition("The bench, day by day")[0].split()


def test_the_lead_gives_bench_time_on_the_page(client, lead, chemist):
    cell = ended("SP-0413")
    client.force_login(lead)
    address = reverse("bench_time", args=[cell.code])
    assert client.post(address, {"slot": "morning"}).status_code == 422
    client.post(address, {"person": chemist.pk, "day": str(monday()), "slot": "afternoon"})
    page = client.get(reverse("waiting")).content.decode()
    assert "for The bench, " in page
    assert "afternoon" in page
    client.post(reverse("bench_hours"), {"hours_a_day": "6,5"})
    assert "6.5 h a working day" in client.get(reverse("waiting")).content.decode()
    assert client.post(reverse("bench_hours"), {"hours_a_day": "-1"}).status_code == 422


def test_the_page_holds_its_number_of_queries(client, lead, django_assert_max_num_queries):
    for _ in range(6):
        give_bench_time(cell=ended(), by=lead, person=None, day=monday())
        makers.make_test(makers.make_cell())
    client.force_login(lead)
    client.get(reverse("waiting"))
    with django_assert_max_num_queries(24):
        client.get(reverse("waiting"))
