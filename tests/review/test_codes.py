"""Every code that is shown anywhere is explained, and leads to its explanation."""

import re
from pathlib import Path

import pytest
from django.template import Context, Template
from django.test import Client
from django.urls import reverse

from teardown.formats.series import read_series
from teardown.review.dossier.refusals import every_refusal
from teardown.review.dossier.remarks import every_remark
from teardown.science.balance.closing import close_cell
from teardown.science.balance.phantoms import invent
from teardown.science.electrochemistry.summary import summarise
from tests.formats.series_hostile import HOSTILE
from tests.formats.series_traps import TRAPS
from tests.makers import make_user
from tests.science.balance import test_balance as faults

HOUSE = Path("teardown")
# a code stands first where a remark is made, whatever makes it
MADE = re.compile(r'(?:\bRemark|\b_remark|\bdraft\.say|\b_flag|\bflag)\(\s*"([A-Za-z_.]+\d*)"')
LOUD = re.compile(r'"([A-Z][A-Z0-9]+(?:_[A-Z0-9]+)+)"')
SPOKEN = ("formats", "cycling", "science", "diffraction", "imaging", "findings", "dissection", "cells")
NO_CODES = {"PCM_S16", "REJECT_LIST"}


def explained() -> set[str]:
    """Give every code on the page."""
    remarks = {said.code for _, rows in every_remark() for said in rows}
    return remarks | {refused.code for refused in every_refusal()}


def test_every_code_in_the_source_is_explained():
    lacking = []
    for folder in SPOKEN:
        for path in sorted((HOUSE / folder).rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            codes = set(MADE.findall(text))
            if "Remark" in text or "draft.say" in text or "ReadingError" in text:
                codes |= set(LOUD.findall(text)) - NO_CODES
            prefix = "balance." if path.name == "causes.py" else ""
            lacking += [(str(path), c) for c in codes if not {c, prefix + c} & explained()]
    assert lacking == []


def test_every_remark_says_what_it_means_and_a_grave_one_what_to_do():
    for _, rows in every_remark():
        for said in rows:
            assert said.levels, said.code
            assert said.sentences or said.remedies, said.code
            if "error" in said.levels:
                assert said.remedies, said.code


def test_what_traps_make_a_reader_say_is_explained():
    known = explained()
    for make in (*TRAPS[::3], *HOSTILE[::3]):
        trap = make()
        found = read_series(trap.data, name=trap.name)
        said = list(found.remarks)
        if found.arrays is not None:
            said += summarise(found.arrays, iron_mass_g=trap.iron_mass_g).remarks
        assert {remark.code for remark in said} <= known


def test_what_a_balance_flags_is_explained():
    known = explained()
    for spoil in (faults.wrong_cell, faults.wet_mass, faults.surface_powder, faults.wrong_unit):
        flags = close_cell(spoil(invent(3).inputs), draws=100).flags
        assert {flag.remark.code for flag in flags} <= known


def test_no_code_means_two_things():
    codes = [said.code for _, rows in every_remark() for said in rows]
    assert len(codes) == len(set(codes))


@pytest.mark.django_db
def test_the_page_holds_every_code_once_as_an_anchor(client: Client):
    client.force_login(make_user("guest"))
    page = client.get(reverse("refusals")).content.decode()
    anchors = re.findall(r'<tr id="([^"]+)"', page)
    assert set(anchors) == explained()
    assert len(anchors) == len(set(anchors)), sorted(a for a in anchors if anchors.count(a) > 1)
    assert "Test time was taken from the clock." in page


def test_a_code_in_a_sentence_leads_to_its_meaning_and_nothing_else_gets_through():
    shown = Template("{{ words|with_codes }}").render(
        Context({"words": "No <iron>. Give it. [balance.E001] [TIME_SCALE] [not a code]"})
    )
    assert f'href="{reverse("refusals")}#balance.E001"' in shown
    assert "#TIME_SCALE" in shown
    assert "&lt;iron&gt;" in shown
    assert shown.count("<a ") == 2
