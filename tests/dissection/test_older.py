"""Dissections of before come in whole, told apart for ever, with no time that nobody wrote down."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.actions import older
from teardown.dissection.intake.heads import Meaning
from teardown.dissection.models import Dissection, Entry, Transcription
from teardown.dissection.rules.units import OtherQuantity, turned
from teardown.files.models import Delivery
from teardown.files.store import read
from teardown.findings.dossier.waiting import unopened
from tests import makers
from tests.dissection.makers import long_built as cell
from tests.dissection.makers import table
from tests.formats.workbooks import cell as sheet_cell
from tests.formats.workbooks import row as sheet_row
from tests.formats.workbooks import workbook

pytestmark = pytest.mark.django_db
BUILT = dt.date(2020, 1, 1)


def shown(chemist, data, **said):
    delivery = older.show_older(upload=data, name="old.csv", by=chemist, **said)
    columns = {head: Meaning(**plain) for head, plain in delivery.column_map["columns"].items()}
    return older.explain_older(delivery=delivery, by=chemist, columns=columns,
                               day=said.get("day", ""), seen_by=said.get("seen_by", ""))  # fmt: skip


A_ROW_A_CELL = table(
    [
        "cell",
        "date",
        "seen by",
        "dry mass (mg)",
        "iron electrode colour",
        "mass as received (g)",
        "my own column",
    ],
    ["SP-0101", "2021-03-04", "A. Former", "3410", "green film", "41,18", "x"],
    ["sp-0102", "4.3.2021", "chemist", "3,2 g", "black, matte", "40 190,5 mg", ""],
)


def test_a_row_a_cell_becomes_entries_that_say_whence_they_came(chemist):
    cell("SP-0101"), cell("SP-0102")
    delivery = shown(chemist, A_ROW_A_CELL)
    assert delivery.refusals == []
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    dry = Entry.objects.get(term__key="dry.mass_g", dissection__cell__code="SP-0101")
    assert (dry.value, dry.value_text, dry.unit) == (3.41, "3.410", "g")
    assert (dry.source, dry.seen_by, dry.transcribed_by) == ("transcribed", "A. Former", str(chemist))
    assert dry.source_words == "row 2, dry mass (mg): 3410"
    assert read(dry.transcription.pages.get().receipt.file) == A_ROW_A_CELL
    assert (dry.observed_precision, dry.when) == ("day", "4\u202fMarch 2021, time of day not known")
    colour = Entry.objects.get(term__key="iron.colour", dissection__cell__code="SP-0102")
    assert (colour.place, str(colour.answer), colour.observer) == ("whole", "black, matte", chemist)
    received = Entry.objects.get(term__key="mass.received_g", dissection__cell__code="SP-0102")
    assert (received.value, received.value_text) == (40.1905, "40.1905")


def test_a_day_alone_gives_no_minutes_since_opening_and_a_written_clock_does(chemist):
    cell("SP-0101"), cell("SP-0102")
    data = table(
        ["cell", "opened", "day", "time", "rest voltage, after a minute (V)"],
        ["SP-0101", "2021-03-04", "2021-03-04", "", "0.91"],
        ["SP-0102", "2021-03-04 10:05", "2021-03-04", "10:20", "0.91"],
    )
    older.apply_older(delivery=shown(chemist, data), by=chemist)
    by_day, by_clock = Entry.objects.filter(term__key="electrical.rest_V").order_by("dissection__cell__code")
    assert by_day.minutes_since_opening is None
    assert by_day.minutes_since(by_day.moment) is None
    assert by_day.dissection.opened() is None
    assert by_clock.minutes_since_opening == pytest.approx(15)
    later = bench.log_entry(dissection=by_day.dissection, term="mass.received_g", value="41.2", by=chemist)
    assert later.minutes_since_opening is None


def test_a_row_an_observation_names_field_place_and_what_was_found(chemist):
    cell("SP-0101")
    data = table(
        ["cell", "day", "part", "place", "what", "found", "how sure"],
        ["SP-0101", "2021-03-04", "iron electrode", "A.M2", "colour", "green", "think so"],
        ["SP-0101", "2021-03-04", "iron electrode", "A.T1", "cover by a film", "30 %", ""],
        ["SP-0101", "2021-03-04", "separator 2", "", "mass as separated (mg)", "210", ""],
        ["SP-0101", "2021-03-04", "", "", "metal growing through", "no", ""],
        ["SP-0101", "2021-03-04", "", "", "needles", "", ""],
    )
    delivery = shown(chemist, data)
    assert delivery.refusals == []
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    said = {e.term.key: e for e in Entry.objects.with_words()}
    assert (said["iron.colour"].place, said["iron.colour"].said, said["iron.colour"].certainty) == (
        "A.M2", "green film", "think so")  # fmt: skip
    assert said["iron.cover"].extent_fraction == pytest.approx(0.3)
    assert (str(said["part.mass_g"].part), said["part.mass_g"].value) == ("separator 2", 0.21)
    assert said["separator.growth"].state == "absent"
    assert "separator.needles" not in said  # an empty cell was not asked, and is never absent


def test_words_that_nobody_knows_are_asked_once_and_remembered(chemist):
    cell("SP-0101"), cell("SP-0102")
    first = shown(
        chemist, table(["cell", "day", "iron electrode colour"], ["SP-0101", "2021-03-04", "greenish"])
    )
    assert [one["message"] for one in first.refusals] == ["“greenish” is no answer that “colour” knows."]
    columns = {head: Meaning(**plain) for head, plain in first.column_map["columns"].items()}
    told = {"iron.colour": {"greenish": "answer:iron.colour.green"}}
    first = older.explain_older(delivery=first, by=chemist, columns=columns, words=told)
    older.apply_older(delivery=first, by=chemist)
    again = table(["cell", "day", "iron electrode colour"], ["SP-0102", "2021-03-05", "Greenish"])
    assert shown(chemist, again).refusals == []


def test_what_a_head_was_said_to_be_is_remembered(chemist):
    cell("SP-0101")
    data = table(["Zelle", "Tag", "m_tr"], ["SP-0101", "2021-03-04", "3410"])
    delivery = older.show_older(upload=data, by=chemist)
    assert {plain["role"] + plain["term"] for plain in delivery.column_map["columns"].values()} == {""}
    with pytest.raises(ValidationError, match="code of the cell"):
        older.explain_older(delivery=delivery, by=chemist, columns={"Zelle": Meaning()})
    columns = {"Zelle": Meaning(role="cell"), "Tag": Meaning(role="day"),
               "m_tr": Meaning("", "dry.mass_g", "component.iron_electrode", unit="mg")}  # fmt: skip
    older.apply_older(
        delivery=older.explain_older(delivery=delivery, by=chemist, columns=columns),
        by=chemist,
        read_unusual=True,
    )
    again = older.show_older(upload=data + b"\n", by=chemist)
    assert {head: Meaning(**plain) for head, plain in again.column_map["columns"].items()} == columns


def test_nothing_is_half_brought_and_each_refusal_names_its_row(chemist):
    cell("SP-0101")
    running = cell("SP-0103")
    makers.make_test(running)
    data = table(
        ["cell", "day", "dry mass (g)", "iron electrode colour"],
        ["SP-0101", "2021-03-04", "3.4", "green"],
        ["SP-9999", "2021-03-04", "3.4", ""],
        ["SP-0103", "2021-03-04", "3.4", ""],
        ["SP-0101", "03/04/2021", "3.4", ""],
        ["SP-0101", "2021-03-04", "-3.4", ""],
        ["SP-0101", "2019-03-04", "3.4", ""],
        ["", "2021-03-04", "3.4", ""],
    )
    delivery = shown(chemist, data)
    told = {one["row"]: one["message"] for one in delivery.refusals}
    assert sorted(told) == [3, 4, 5, 6, 7, 8]
    assert "Bring the cells first" in told[3]
    assert "still runs" in told[4]
    assert "2031-03-04" in told[5]
    assert "cannot be" in told[6]
    assert "before the cell was built" in told[7]
    with pytest.raises(ValidationError, match="refused"):
        older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    assert (Entry.objects.count(), Dissection.objects.count(), Transcription.objects.count()) == (0, 0, 0)
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True, leave_out_refused=True)
    assert Entry.objects.count() == 2


def test_an_unusual_number_is_read_again_before_anything_is_written(chemist):
    cell("SP-0101")
    delivery = shown(
        chemist, table(["cell", "day", "rest voltage, after a minute (V)"], ["SP-0101", "2021-03-04", "1.6"])
    )
    assert delivery.planned[0]["unusual"]
    with pytest.raises(ValidationError, match="unusual"):
        older.apply_older(delivery=delivery, by=chemist)
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    assert Entry.objects.get().confirmed_unusual


def test_the_same_table_brings_nothing_twice_and_what_differs_stands_beside(chemist):
    cell("SP-0101")
    older.apply_older(
        delivery=shown(chemist, table(["cell", "day", "dry mass (g)"], ["SP-0101", "2021-03-04", "3.4"])),
        by=chemist,
        read_unusual=True,
    )
    same = shown(chemist, table(["cell", "day", "dry mass (g)"], ["SP-0101", "2021-03-05", "3.4"]))
    with pytest.raises(ValidationError, match="in the record already"):
        older.apply_older(delivery=same, by=chemist)
    other = shown(chemist, table(["cell", "day", "dry mass (g)"], ["SP-0101", "2021-03-04", "3.5"]))
    assert other.planned[0]["notes"][-1] == "beside what stands: 3.4 g"


def test_what_changed_since_it_was_shown_is_shown_again_before_it_is_written(chemist):
    mine = cell("SP-0101")
    delivery = shown(chemist, table(["cell", "day", "dry mass (g)"], ["SP-0101", "2021-03-04", "3.4"]))
    makers.make_test(mine)
    with pytest.raises(ValidationError, match="changed since"):
        older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    assert Entry.objects.count() == 0


def test_a_withdrawn_import_counts_no_longer_and_stays_to_be_seen(chemist):
    cell("SP-0101")
    delivery = shown(
        chemist, table(["cell", "day", "opened", "dry mass (g)"], ["SP-0101", "2021-03-04", "yes", "3.4"])
    )
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    older.withdraw_older(delivery=delivery, reason="another cell’s table", by=chemist)
    assert Entry.objects.current().count() == 0
    assert Entry.objects.filter(state="withdrawn").count() == 2
    assert Delivery.objects.get().state == "withdrawn"


def test_a_workbook_is_read_as_a_table_is(chemist):
    cell("SP-0101")
    rows = [["cell", "day", "dry mass (g)"], ["SP-0101", "2021-03-04", "3.4"]]
    data = workbook(
        *(
            sheet_row(
                n, *(sheet_cell(f"{column}{n}", text) for column, text in zip("ABC", texts, strict=True))
            )
            for n, texts in enumerate(rows, 1)
        )
    )
    assert len(shown(chemist, data).planned) == 1


def test_units_are_turned_to_the_last_digit():
    assert turned("3410", "mg", "g") == "3.410"
    assert turned("0.80", "mm", "µm") == "800"
    assert turned("1.29", "g/cm3", "g/mL") == "1.29"
    assert turned("3 410,5", "mg", "g") == "3.4105"
    assert turned("0,81", "g", "g") == "0,81"
    with pytest.raises(OtherQuantity):
        turned("3", "mL", "g")


def test_the_pages_ask_show_and_write(client, chemist):
    cell("SP-0101")
    client.force_login(chemist)
    data = ContentFile(table(["cell", "day", "m_tr"], ["SP-0101", "2021-03-04", "3.4"]), name="old.csv")
    sent = client.post(reverse("older_table_send"), {"table": data})
    delivery = Delivery.objects.get()
    assert sent.url == reverse("older_table", args=[delivery.pk])
    assert b"Say what its columns are" in client.get(sent.url).content
    asked = {"as_0": "role:cell", "as_1": "role:day", "as_2": "term:dry.mass_g", "unit_2": "mL"}
    refused = client.post(reverse("older_explain", args=[delivery.pk]), asked)
    assert refused.status_code == 422
    assert "mL cannot be turned into g" in refused.content.decode()
    client.post(reverse("older_explain", args=[delivery.pk]), asked | {"unit_2": "g"})
    page = client.get(sent.url).content.decode()
    assert "3.4 g" in page
    assert "time of day not known" in page
    assert client.post(reverse("older_apply", args=[delivery.pk]), {}).status_code == 422
    client.post(reverse("older_apply", args=[delivery.pk]), {"read_unusual": "on"})
    assert Entry.objects.get().source == "transcribed"
    assert b"marked as transcribed" in client.get(sent.url).content
    assert client.get(reverse("older_records")).status_code == 200


def test_no_table_and_no_picture_are_refused_in_words(client, chemist):
    client.force_login(chemist)
    answer = client.post(
        reverse("older_table_send"), {"table": ContentFile(b"\xd0\xcf\x11\xe0...", name="a.xls")}
    )
    assert answer.status_code == 422
    assert "Save it as XLSX or CSV" in answer.content.decode()
    answer = client.post(
        reverse("older_photographs_send"), {"photographs": ContentFile(b"cell\n", name="a.csv")}
    )
    assert answer.status_code == 422
    assert "no photograph among the files" in answer.content.decode()


def test_a_cell_of_which_only_findings_are_known_waits_no_longer(chemist):
    mine = cell("SP-0101")
    makers.make_test(mine, end="leak")
    data = table(["cell", "day", "time", "dry mass (g)"], ["SP-0101", "2021-03-04", "11:20", "1.5"])
    delivery = shown(chemist, data)
    columns = {head: Meaning(**plain) for head, plain in delivery.column_map["columns"].items()}
    delivery = older.explain_older(delivery=delivery, by=chemist, columns=columns, opened=True)
    older.apply_older(delivery=delivery, by=chemist, read_unusual=True)
    opening = Entry.objects.opening()
    assert (opening.observed_precision, opening.source) == ("day", "transcribed")
    assert Entry.objects.get(term__key="dry.mass_g").minutes_since_opening is None
    assert unopened(type(mine).objects.all()).count() == 0
    again = older.explain_older(delivery=shown(chemist, data), by=chemist, columns=columns, opened=True)
    assert {step["does"] for step in again.planned} == {"same"}  # the opening of before is not asked for anew
