"""Deeds with recipes, builds, cells and tests: what stays true, and what is refused."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from teardown.cells.actions import (
    NewCell,
    Part,
    add_build,
    add_cells,
    add_chamber,
    add_channel,
    add_lot,
    add_material,
    add_protocol,
    add_recipe,
    amend_cell,
    change_study,
    end_test,
    keep_study,
    move_seat,
    rename_recipe,
    revise_protocol,
    revise_recipe,
    start_test,
    state_accuracy,
)
from teardown.cells.models import Cell, Seat, Test
from teardown.records.models import Record, StaleVersion
from teardown.vocabulary.models import Term
from tests.makers import NOW, make_build, make_cell, make_revision, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def analyst():
    return make_user("analyst")


@pytest.fixture
def iron(analyst):
    return add_material(name="carbonyl iron", kind="iron", formula="Fe", constituents=["Fe"], by=analyst)


@pytest.fixture
def sulfide(analyst):
    return add_material(
        name="bismuth sulfide", kind="additive", formula="Bi2S3", constituents=["Bi", "S"], by=analyst
    )


@pytest.fixture
def recipe(iron, sulfide, analyst):
    return add_recipe(
        code="FeBi-4",
        title="carbonyl iron with bismuth sulfide",
        parts=[Part("iron", iron, 1.2, "g"), Part("additive", sulfide, 0.04, "1", "iron")],
        by=analyst,
    )


def test_each_deed_writes_one_record(analyst, recipe, iron):
    before = Record.objects.count()
    lot = add_lot(material=iron, code="L-7", purity=0.995, by=analyst)
    build = add_build(
        code="B-1", revision=recipe, built_on=dt.date(2030, 9, 1), lots=[("iron", lot)], by=analyst
    )
    add_cells(cells=[NewCell("SP-0413", build, {"iron_mass_g": 1.188})], by=analyst)
    assert Record.objects.count() == before + 3
    assert not list(Record.objects.all().broken())


def test_a_build_freezes_its_recipe_and_a_change_is_a_new_revision(analyst, recipe, iron):
    add_build(code="B-1", revision=recipe, built_on=dt.date(2030, 9, 1), by=analyst)
    with pytest.raises(IntegrityError, match="new revision"), transaction.atomic():
        recipe.parts.update(amount=2)
    again = revise_recipe(recipe=recipe.recipe, because="more iron is wanted", by=analyst)
    assert (again.number, again.frozen_at) == (2, None)
    assert list(again.parts.values_list("role", "amount")) == [("iron", 1.2), ("additive", 0.04)]


def test_a_revision_asks_for_its_reason(analyst, recipe):
    with pytest.raises(ValidationError, match="Say why"):
        revise_recipe(recipe=recipe.recipe, because=" ", by=analyst)


def test_a_share_above_one_is_refused_in_words(analyst, sulfide):
    with pytest.raises(ValidationError, match=r"bismuth sulfide: A mass fraction lies between 0 and 1"):
        add_recipe(code="X", title="x", parts=[Part("additive", sulfide, 4, "1", "iron")], by=analyst)


def test_cells_are_added_all_or_none(analyst):
    build = make_build()
    with pytest.raises(ValidationError, match="SP-2: "):
        add_cells(
            cells=[NewCell("SP-1", build, {"porosity": 0.6}), NewCell("SP-2", build, {"porosity": 60})],
            by=analyst,
        )
    assert not Cell.objects.exists()


def test_each_cell_that_cannot_be_is_named(analyst):
    build = make_build()
    make_cell("SP-1")
    new = [NewCell("SP-1", build), NewCell("SP-2", build), NewCell("SP-2", build), NewCell("a b", build)]
    with pytest.raises(ValidationError) as refusal:
        add_cells(cells=new, by=analyst)
    assert [message[:20] for message in refusal.value.messages] == [
        "SP-1: There is a cel",
        "SP-2 was given 2 tim",
        "SP-2 was given 2 tim",
        "“a b” is no code: us",
    ]


def test_a_cell_is_found_by_the_words_of_its_recipe(analyst):
    build = make_build(make_revision("FeBi-4", additive="BISMUTH Sulfide", iron="Überzug iron"))
    add_cells(cells=[NewCell("SP-1", build, note="Lid ﬁxed twice")], by=analyst)
    for needle in ("sp-1", "febi-4", "bismuth sulfide", "überzug", "lid fixed"):
        assert Cell.objects.filter(search_text__contains=needle).exists(), needle


def test_a_new_title_is_found_at_once(analyst):
    cell = make_cell()
    recipe = cell.build.revision.recipe
    rename_recipe(recipe=recipe, seen=1, title="Driftwood mix", note="", by=analyst)
    cell.refresh_from_db()
    assert "driftwood mix" in cell.search_text


def test_two_people_correcting_one_cell_are_told(analyst):
    cell = make_cell()
    amend_cell(cell=cell, seen=1, reason="typing slip", iron_mass_g=1.2, by=analyst)
    with pytest.raises(StaleVersion):
        amend_cell(cell=cell, seen=1, reason="typing slip", iron_mass_g=1.3, by=analyst)
    assert Cell.objects.get().iron_mass_g == 1.2


def test_a_test_runs_from_seat_to_seat_and_ends_for_a_reason(analyst):
    chamber = add_chamber(name="C3", places=["1", "2"], by=analyst)
    first, second = chamber.positions.all()
    channel = add_channel(name="ch-11", by=analyst)
    state_accuracy(
        channel=channel,
        range_A=5,
        gain_pct=0.05,
        offset_pct=0.02,
        valid_from=dt.date(2030, 1, 1),
        by=analyst,
    )
    protocol = add_protocol(code="slow", title="slow discharge", capacity_limit=0.6, by=analyst)
    cell = make_cell()
    started = NOW - dt.timedelta(days=90)
    test = start_test(
        cell=cell,
        protocol=protocol,
        started_at=started,
        position=first,
        channel=channel,
        set_temperature_C=35,
        by=analyst,
    )
    moved = started + dt.timedelta(days=30)
    move_seat(test=test, moved_at=moved, position=second, channel=channel, set_temperature_C=45, by=analyst)
    end = Term.objects.get(key="end.lab_fault")
    end_test(test=test, ended_at=NOW, end=end, state_at_stop="discharged", by=analyst)
    assert list(Seat.objects.order_by("since").values_list("position", "since", "until")) == [
        (first.pk, started, moved),
        (second.pk, moved, NOW),
    ]
    assert Test.objects.censored().get().end == end
    protocol.refresh_from_db()
    assert protocol.frozen_at is not None


def test_a_cell_on_test_starts_no_second_one(analyst):
    protocol = add_protocol(code="slow", title="slow", by=analyst)
    cell = make_cell()
    start_test(cell=cell, protocol=protocol, started_at=NOW, by=analyst)
    with pytest.raises(ValidationError, match="on test already"):
        start_test(cell=cell, protocol=protocol, started_at=NOW, by=analyst)


def test_a_taken_place_is_named(analyst):
    place = add_chamber(name="C3", places=["1"], by=analyst).positions.get()
    protocol = add_protocol(code="slow", title="slow", by=analyst)
    sitting = make_cell("SP-0001")
    start_test(cell=sitting, protocol=protocol, started_at=NOW, position=place, by=analyst)
    with pytest.raises(ValidationError, match="taken by SP-0001, test 1"):
        start_test(cell=make_cell(), protocol=protocol, started_at=NOW, position=place, by=analyst)
    assert Test.objects.count() == 1


def test_a_test_ends_once_after_it_starts_and_by_an_end(analyst):
    protocol = add_protocol(code="slow", title="slow", by=analyst)
    test = start_test(cell=make_cell(), protocol=protocol, started_at=NOW, by=analyst)
    leak = Term.objects.get(key="end.leak")
    with pytest.raises(ValidationError, match="after it starts"):
        end_test(test=test, ended_at=NOW - dt.timedelta(days=1), end=leak, by=analyst)
    with pytest.raises(ValidationError, match="not the end of a test"):
        end_test(test=test, ended_at=NOW, end=Term.objects.get(key="component.tab"), by=analyst)
    end_test(test=test, ended_at=NOW, end=leak, by=analyst)
    with pytest.raises(ValidationError, match="ended already, on 4 March 2031: leak"):
        end_test(test=test, ended_at=NOW, end=leak, by=analyst)


def test_a_protocol_that_ran_is_revised_not_edited(analyst):
    protocol = add_protocol(code="slow", title="slow", capacity_limit=0.6, discharge_limit_V=0.4, by=analyst)
    start_test(cell=make_cell(), protocol=protocol, started_at=NOW, by=analyst)
    revised = revise_protocol(
        protocol=protocol.protocol, because="a gentler end", capacity_limit=0.7, by=analyst
    )
    assert (revised.number, revised.capacity_limit, revised.discharge_limit_V) == (2, 0.7, 0.4)
    with pytest.raises(IntegrityError, match="new revision"), transaction.atomic():
        type(protocol).objects.filter(pk=protocol.pk).update(capacity_limit=0.1)


def test_a_study_is_a_named_set(analyst):
    cells = [make_cell(), make_cell()]
    study = keep_study(name="First winter", cells=cells, by=analyst)
    change_study(study=study, seen=1, name="First winter", note="", cells=cells[:1], by=analyst)
    assert list(study.cells.all()) == cells[:1]


@pytest.mark.parametrize("role", ["bench", "operator", "reviewer", "guest", "administrator", "instrument"])
def test_only_analysts_and_leads_write_recipes(role):
    with pytest.raises(PermissionDenied, match="Only analysts and lab leads may write recipes"):
        add_material(name="x", kind="iron", by=make_user(role))
