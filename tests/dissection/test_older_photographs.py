"""Folders of older photographs: told by name, folder or table, written whole, taken back."""

import datetime as dt
import io
import zipfile

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.urls import reverse
from PIL import Image

from teardown.cells.models import Cell
from teardown.dissection import actions as bench
from teardown.dissection.actions import older_photographs as folders
from teardown.dissection.models import Dissection, Entry, Photograph
from teardown.findings.dossier.waiting import unopened
from tests import makers
from tests.dissection.makers import long_built as cell
from tests.dissection.makers import table

pytestmark = pytest.mark.django_db
BUILT = dt.date(2020, 1, 1)


def picture(grey):
    out = io.BytesIO()
    Image.new("L", (40, 30), grey).save(out, "PNG")
    return out.getvalue()


def zipped(files):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return ContentFile(out.getvalue(), name="old.zip")


def test_photographs_are_told_by_name_folder_or_table(chemist):
    cell("SP-0101"), cell("SP-0102")
    beside = table(["file", "cell", "part", "place", "day", "taken by"],
                   ["IMG_3.png", "SP-0102", "separator 2", "", "2021-03-05", "A. Former"])  # fmt: skip
    sent = zipped({
        "SP-0101/iron electrode A.M2 2021-03-04.png": picture(1),
        "sp-0102_face B_2021-03-05.png": picture(2),
        "IMG_3.png": picture(3),
        "IMG_4.png": picture(4),
        "SP-0101/again 2021-03-04.png": picture(1),
        "SP-0101/false 2021-03-04.png": b"<html>",
        "list.csv": beside,
    })  # fmt: skip
    delivery = folders.show_older_photographs(files=[sent], by=chemist)
    told = {one["column"]: one["message"] for one in delivery.refusals}
    assert set(told) == {"IMG_4.png", "SP-0101/again 2021-03-04.png", "SP-0101/false 2021-03-04.png"}
    assert "of which cell" in told["IMG_4.png"]
    assert "Byte for byte" in told["SP-0101/again 2021-03-04.png"]
    with pytest.raises(ValidationError, match="refused"):
        folders.apply_older_photographs(delivery=delivery, by=chemist)
    assert Photograph.objects.count() == 0
    folders.apply_older_photographs(delivery=delivery, by=chemist, leave_out_refused=True)
    by_words = {p.label.words: p for p in Photograph.objects.with_labels()}
    assert set(by_words) == {"iron electrode, A.M2", "B, face B", "separator 2"}
    old = by_words["separator 2"]
    assert (old.taken_by, old.timed, old.minutes_since_opening) == ("A. Former", False, None)
    assert old.transcription.pages.first().receipt.name == "old.zip"


def test_a_photograph_is_never_of_two_cells_and_comes_once(chemist):
    cell("SP-0101"), cell("SP-0102")
    one = ContentFile(picture(7), name="SP-0101 iron 2021-03-04.png")
    folders.apply_older_photographs(
        delivery=folders.show_older_photographs(files=[one], by=chemist), by=chemist
    )
    other = ContentFile(picture(7), name="SP-0102 iron 2021-03-04.png")
    delivery = folders.show_older_photographs(files=[other], by=chemist)
    assert "one picture is not of two cells" in delivery.refusals[0]["message"]
    again = folders.show_older_photographs(
        files=[ContentFile(picture(7), name="SP-0101 iron 2021-03-04.png")], by=chemist
    )
    with pytest.raises(ValidationError, match="in the record already"):
        folders.apply_older_photographs(delivery=again, by=chemist)


def test_a_withdrawn_folder_stays_kept_and_is_no_evidence(chemist):
    cell("SP-0101")
    one = ContentFile(picture(7), name="SP-0101 iron 2021-03-04.png")
    delivery = folders.show_older_photographs(files=[one], by=chemist)
    folders.apply_older_photographs(delivery=delivery, by=chemist)
    folders.withdraw_older_photographs(delivery=delivery, reason="not ours", by=chemist)
    assert Photograph.objects.evidence().count() == 0
    assert Photograph.objects.count() == 1


def test_a_cell_shown_from_within_was_opened_that_day_and_one_shown_from_outside_waits(client, chemist):
    for code in ("SP-0101", "SP-0102", "SP-0103"):
        makers.make_test(cell(code), end="leak")
    known = bench.start_dissection(cell=Cell.objects.get(code="SP-0103"), by=chemist)
    bench.open_cell(dissection=known, by=chemist)
    sent = zipped({
        "SP-0101/iron electrode A.M2 2021-03-05.png": picture(1),
        "SP-0101/separator 2021-03-04.png": picture(2),
        "SP-0102/case 2021-03-04.png": picture(3),
        "SP-0103/iron electrode 2021-03-04.png": picture(4),
    })  # fmt: skip
    delivery = folders.show_older_photographs(files=[sent], by=chemist, seen_by="A. Former")
    client.force_login(chemist)
    address = reverse("older_photographs", args=[delivery.pk])
    assert "Cells that are shown from within were opened" in client.get(address).content.decode()
    assert client.post(reverse("older_apply", args=[delivery.pk]), {"opened": "on"}).status_code == 302
    entry = Dissection.objects.get(cell__code="SP-0101").entries.opening()
    assert (entry.observed_at.date(), entry.timed) == (dt.date(2021, 3, 4), False)
    assert (entry.source, entry.observer_named) == ("transcribed", "A. Former")
    assert "separator 2021-03-04.png: opened that day" in entry.source_words
    assert [row.code for row in unopened(Cell.objects.all())] == ["SP-0102"]
    assert Entry.objects.filter(term__key="opening.opened", dissection__cell__code="SP-0103").count() == 1
    folders.withdraw_older_photographs(delivery=delivery, reason="not ours", by=chemist)
    assert [row.code for row in unopened(Cell.objects.order_by("code"))] == ["SP-0101", "SP-0102"]


def test_the_page_says_that_a_cell_still_waits_and_why(client, chemist):
    makers.make_test(cell("SP-0101"), end="leak")
    one = ContentFile(picture(7), name="SP-0101 iron 2021-03-04.png")
    delivery = folders.show_older_photographs(files=[one], by=chemist)
    folders.apply_older_photographs(delivery=delivery, by=chemist)
    client.force_login(chemist)
    page = client.get(reverse("older_photographs", args=[delivery.pk])).content.decode()
    assert "1 cell of them without a day of opening: under Waiting still." in page
