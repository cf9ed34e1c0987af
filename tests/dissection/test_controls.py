"""Each number stands beside that of the uncycled twin, the sisters and the blank; blinding hides mates."""

import pytest
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.dossier.controls import beside, compared, controls_of
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead():
    return makers.make_user("lead", "bench", username="lead")


def opened(code, build, by, *, mass, cycled=True, session=None, **said):
    cell = makers.make_cell(code, build=build, **said)
    if cycled:
        makers.make_test(cell, end="capacity_limit")
    dissection = bench.start_dissection(cell=cell, by=by, at=makers.NOW)
    said = {"value": mass, "confirmed_unusual": True}
    bench.log_entry(dissection=dissection, term="dry.mass_g", by=by, at=makers.NOW, session=session, **said)
    return dissection


@pytest.fixture
def family(lead):
    build = makers.make_build()
    session = bench.begin_session(by=lead, at=makers.NOW)
    mine = opened("SP-0413", build, lead, mass="3.0", session=session)
    opened("SP-0414", build, lead, mass="3.2")
    opened("SP-0415", build, lead, mass="3.4")
    opened("SP-0416", build, lead, mass="2.6", cycled=False)
    opened("SP-0417", makers.make_build(), lead, mass="9")
    return mine, session


def test_uncycled_cells_of_a_build_are_twins_and_cycled_ones_sisters(family):
    controls = controls_of(family[0].cell)
    assert [cell.code for cell in controls.twins] == ["SP-0416"]
    assert [cell.code for cell in controls.sisters] == ["SP-0414", "SP-0415"]
    assert controls.words == "uncycled: SP-0416; sisters: SP-0414, SP-0415"


def test_a_named_twin_and_a_cell_of_time_zero_are_twins_too(family, lead):
    mine = family[0].cell
    named = makers.make_cell("SP-0500", twin_of=mine)
    zero = makers.make_cell("SP-0501", build=mine.build, time_zero=True)
    makers.make_test(zero, end="planned")
    assert {cell.code for cell in controls_of(mine).twins} == {"SP-0416", named.code, zero.code}


def test_a_number_stands_beside_twin_sisters_and_blank(family, lead):
    mine, session = family
    blank = bench.cut_sample(blank_of=session, by=lead, at=makers.NOW)
    said = {"sample": blank.code, "value": "0.001", "confirmed_unusual": True}
    bench.log_entry(dissection=mine, term="dry.mass_g", by=lead, at=makers.NOW, **said)
    found = beside(mine, controls_of(mine.cell))["dry.mass_g", "component.iron_electrode", 1]
    assert found.twin.words == "2.6 g"
    assert found.sisters.words == "3.3 g (3.2 to 3.4, n 2)"
    told = compared(mine, controls_of(mine.cell))
    assert [(row.words, row.own.words) for row in told] == [("dry mass", "3 g")]


def test_the_sheet_hides_batch_mates_while_it_is_blinded(client, family, lead):
    client.force_login(lead)
    address = reverse("bench_sheet", args=["SP-0413"])
    page = client.get(address).content.decode()
    assert "SP-0416" not in page
    assert "Twin, sisters and blanks stand beside" in page
    bench.unblind(dissection=family[0], by=lead, reason="observations are done")
    page = client.get(address).content.decode()
    assert "uncycled: SP-0416" in page
    assert "twin 2.6 g; sisters 3.3 g (3.2 to 3.4, n 2)" in page


def test_the_page_of_the_cell_holds_its_numbers_against_the_controls(client, family, lead):
    client.force_login(lead)
    page = client.get(reverse("cell", args=["SP-0413"])).content.decode()
    assert "Beside its controls" in page
    assert "3.3 g (3.2 to 3.4, n 2)" in page
    client.force_login(makers.make_user("bench"))
    blind = client.get(reverse("cell", args=["SP-0413"])).content.decode()
    assert "Beside its controls" not in blind
    assert "SP-0416" not in blind


def test_a_cell_alone_has_nothing_beside_it(client, lead):
    opened("SP-0600", makers.make_build(), lead, mass="3")
    client.force_login(lead)
    assert "Beside its controls" not in client.get(reverse("cell", args=["SP-0600"])).content.decode()
