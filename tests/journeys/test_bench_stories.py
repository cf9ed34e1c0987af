"""A dissection as it is lived through, with the lines by which each part of it passes.

What only people can judge (gloves, the feel of 19 mm, an alarm in a loud hood) stands on the trial sheet.
"""

import datetime as dt
import re
import time
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from teardown.cells.models import Material
from teardown.dissection import actions as bench
from teardown.dissection.models import Entry, Photograph
from teardown.files.store import keep
from tests import makers
from tests.dissection.makers import ended
from tests.journeys.gloves import fits, go, kept_here, let_go, say, send_now, touch, type_number, until
from tests.pictures import noise_file

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]


def picture(seed=1):
    """Draw a sharp picture that is like no other."""
    return {"name": f"{seed}.jpg", "mimeType": "image/jpeg", "buffer": noise_file("JPEG", seed)}


def keep_photograph(dissection, by, seed=1, **label):
    kept = bench.add_photograph(
        file=SimpleUploadedFile(f"{seed}.jpg", picture(seed)["buffer"]), dissection=dissection, by=by
    )
    if label:
        bench.label_photograph(photograph=kept, by=by, **label)
    return kept


def stored(dissection, by, seed, minutes=4):
    """Keep a photograph as the server has it, without looking at its pixels."""
    return Photograph.objects.create(
        key=uuid.uuid4(),
        dissection=dissection,
        receipt=keep(picture(seed)["buffer"], by=by, name=f"{seed}.jpg"),
        taken_at=timezone.now(),
        minutes_since_opening=minutes,
        by=by,
    )


@pytest.fixture
def without_sulfide(chemist):
    revision = makers.make_revision(additive="bismuth oxide")
    Material.objects.filter(name="bismuth oxide").update(constituents=["Bi"])
    return ended("SP-0500", chemist, revision)


ON_THE_WAY = [
    ("arrival", ["label and mark agree", "intact", "upright", "none looked for"]),
    ("leak", ["neutral", "neutral", "alkaline"]),
]
OPENING = ["Opened now", "unscrewed", "hiss", "none looked for", "none looked for", "none looked for"]


def test_a_first_cell_on_a_first_day(at_the_bench, live_server, cell):
    """Fourteen values to Opened and behind it: no card scrolls, each is kept at once, the sheet shows all."""
    page = at_the_bench()
    assert page.locator(".bench-card.here .bench-cautions").is_visible()
    kept = 0
    for card, words in ON_THE_WAY:
        go(page, card)
        for said in words:
            say(page, said)
            kept += 1
            kept_here(page, kept)
            assert fits(page)
    go(page, "weighing")
    type_number(page, "41.18", read_twice=True)
    kept_here(page, kept + 1)
    go(page, "electrical")
    type_number(page, "0.914")
    kept_here(page, kept + 2)
    say(page, "open")
    page.set_input_files("#shutter", [picture(seed) for seed in range(4)])
    kept = kept + 3 + 4
    kept_here(page, kept)
    go(page, "opening")
    for said in OPENING:
        say(page, said)
        kept += 1
        kept_here(page, kept)
    assert fits(page)
    send_now(page)
    until(lambda: Entry.objects.current().count() >= 14 and Photograph.objects.count() == 4)
    assert cell.dissection.opened() is not None
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    sheet = page.locator("main").inner_text()
    for entry in Entry.objects.current().with_words().exclude(term__key="opening.opened"):
        assert entry.said in sheet
    assert sheet.count("The bench") >= 14
    assert page.troubles == []


READINGS = {"sample_mL": "2.000", "made_up_mL": "100.0", "aliquot_mL": "10.00", "acid_mol_L": "0.1000"}


ALL_READINGS = (*READINGS, "first_mL", "second_mL")


def vial(dissection, by, parent=None):
    of = {"parent": parent} if parent else {"component": "electrolyte"}
    return bench.cut_sample(dissection=dissection, by=by, purpose="titration", **of)


def read_burette(dissection, by, sample, first, second):
    for name, value in (READINGS | {"first_mL": first, "second_mL": second}).items():
        bench.log_entry(
            dissection=dissection, term=f"titration.{name}", value=value, sample=sample.code, by=by
        )


def test_a_burette_and_a_swapped_reading(at_the_bench, live_server, without_sulfide, chemist):
    """Readings are kept and worked out; a swap is caught in words; the acid is amended, both stay."""
    dissection = without_sulfide.dissection
    whole = vial(dissection, chemist)
    first, second, third = (vial(dissection, chemist, whole) for _ in range(3))
    read_burette(dissection, chemist, first, "11.95", "13.10")
    read_burette(dissection, chemist, second, "11.93", "13.12")
    page = at_the_bench(code="SP-0500", card="titration")
    sheet = f"{live_server.url}{reverse('bench_sheet', args=['SP-0500'])}#titrations"

    def row(code):
        return page.locator("#titrations tbody tr", has=page.get_by_role("rowheader", name=code))

    def shows(code, *words):
        for each in words:
            expect(row(code)).to_contain_text(each)

    page.goto(sheet)
    shows(first.code, "5.40 ± 0.04", "0.575 ± 0.021", "17.6\u2009%")
    shows(second.code, "5.37 ± 0.04", "0.595 ± 0.021", "18.1\u2009%")
    expect(page.locator("#titrations")).to_contain_text("The 2 aliquots agree.")
    page.goto(f"{live_server.url}{reverse('bench_cell', args=['SP-0500'])}?card=titration")
    page.wait_for_selector(".scripted .bench-card.here")
    touch(page, f'.bench-card.here [data-sample="{third.code}"]')
    for value in [*READINGS.values(), "13.10"]:
        type_number(page, value, read_twice=value == "13.10")
        page.locator('[data-part="said-words"]', has_text=f"{value} m").wait_for()
    type_number(page, "11.95")
    expect(page.locator('[data-part="said-words"]')).to_have_text(
        "This reading, 11.95, is below the one before it, 13.1. Were the two swapped?"
    )
    send_now(page)
    assert Entry.objects.filter(sample=third).count() == 5  # nothing of the swap was kept
    touch(page, '.bench-card.here [data-row="titration.first_mL"]')
    type_number(page, "11.95", read_twice=True)
    touch(page, '[data-dialog="again"] [data-amend="reason.typing_slip"]')
    page.locator('.bench-card.here .bench-ask.open[data-term="titration.second_mL"]').wait_for()
    touch(
        page, '.bench-card.here .bench-ask.open [data-key="clear"]'
    )  # what was refused stood there as a draft
    type_number(page, "13.10", read_twice=True)
    send_now(page)
    until(lambda: Entry.objects.current().filter(sample=third).count() == 6)
    kept = Entry.objects.current().filter(sample__in=[first, second, third])
    assert set(kept.values_list("term__key", flat=True)) == {f"titration.{name}" for name in ALL_READINGS}
    for sample in (second, third):
        acid = Entry.objects.get(sample=sample, term__key="titration.acid_mol_L")
        bench.amend(entry=acid, value="0.1012", reason="instrument_out", by=chemist)
    acid = Entry.objects.get(sample=first, term__key="titration.acid_mol_L")
    page.goto(f"{live_server.url}{reverse('entry', args=[acid.key])}")
    page.fill("#id_value", "0.1012")
    page.locator('form[action$="/amend/"] select[name="reason"]').select_option("reason.instrument_out")
    page.locator('form[action$="/amend/"] button').click()
    page.get_by_text("what it said before stays to be seen").wait_for()
    assert page.locator(".struck", has_text="0.1000 mol/L").count() == 1
    page.goto(sheet)
    for code, *now in (
        (first.code, "5.46", "0.582"),
        (second.code, "5.43", "0.602"),
        (third.code, "5.46", "0.582"),
    ):
        shows(code, *now)
    page.locator("#titrations details summary").click()
    before = page.locator("#titrations details li", has_text=first.code).first
    expect(before).to_contain_text("hydroxide 5.40 ± 0.04 mol/L, carbonate 0.575 ± 0.021 mol/L, 17.6")
    assert page.troubles == []


def test_a_sour_recipe_offers_no_acid_and_keeps_the_route(at_the_bench, cell, chemist):
    """The card comes first and no acid step is offered; reading it unlocks nothing; the route is kept."""
    sour = vial(cell.dissection, chemist)
    page = at_the_bench(card="titration")
    card = page.locator(".bench-card.here")
    assert card.locator("summary").inner_text().startswith("Sulfide and acid give hydrogen sulfide")
    assert card.locator('[data-term="titration.first_mL"]').count() == 0
    touch(page, ".bench-card.here .bench-cautions > summary")
    page.locator(".bench-card.here .bench-cautions form button").click()
    assert card.locator('[data-term="titration.first_mL"]').count() == 0
    assert card.get_by_text("No acid is asked for here").is_visible()
    go(page, "titration_about")
    touch(page, f'.bench-card.here [data-sample="{sour.code}"]')
    touch(page, '.bench-card.here .bench-row[data-row="titration.route"]')
    page.locator(".bench-card.here .bench-ask.open textarea").fill("sent out, by the house's own rule")
    touch(page, ".bench-card.here .bench-ask.open .bench-words button")
    send_now(page)
    until(lambda: Entry.objects.filter(term__key="titration.route", sample=sour).exists())


def test_the_wrong_tray(at_the_bench, live_server, cell, chemist):
    """What was sent under the wrong cell is withdrawn there with its reason, copied with its own times."""
    ended("SP-0424", chemist)
    page = at_the_bench(card="separator")
    say(page, "tear")
    say(page, "from both sides")
    send_now(page)
    page.evaluate("localStorage.setItem('bench-last-touch', Date.now() - 700000)")
    touch(page, '[data-deed="next"]')
    page.wait_for_selector('[data-dialog="scan"][open]')
    page.fill("#bench-scan", "0424")
    touch(page, '[data-dialog="scan"] form button')
    told = page.locator('[data-part="scan-said"]')
    expect(told).to_have_text("This is 0424, you were on 0413")
    assert told.evaluate("(e) => getComputedStyle(e).fontSize") == "60px"
    expect(page.locator('[data-deed="move"]')).to_have_text("Switch, and move 2 entries")
    touch(page, '[data-deed="move"]')
    page.wait_for_url("**/SP-0424/**")
    moved = Entry.objects.current().filter(dissection__cell__code="SP-0424")
    until(lambda: moved.count() == 2)
    gone = Entry.objects.filter(dissection=cell.dissection, state="withdrawn")
    assert {str(entry.reason) for entry in gone} == {"wrong cell"}
    assert {entry.observed_at for entry in moved} == {entry.supersedes.observed_at for entry in gone}
    page.goto(f"{live_server.url}{reverse('entry', args=[moved[0].key])}")
    assert "moved from SP-0413" in page.locator("main").inner_text()


def test_photographs_that_nobody_labelled(at_the_bench, live_server, cell, chemist):
    """Of 31, 6 are unlabelled: closing counts and opens them, what is known stands there, a glove is kept."""
    dissection = cell.dissection
    bench.open_cell(dissection=dissection, by=chemist, at=timezone.now() - dt.timedelta(minutes=12))
    for seed in range(25):
        label = {"component": "iron_electrode", "place": "A.M2"}
        bench.label_photograph(photograph=stored(dissection, chemist, seed), by=chemist, **label)
    page = at_the_bench(card="iron")
    page.context.set_offline(True)  # none leaves the tablet before all six are counted
    page.set_input_files("#shutter", [picture(seed) for seed in range(25, 31)])
    kept_here(page, 6)
    page.context.set_offline(False)
    send_now(page)
    until(lambda: Photograph.objects.count() == 31)
    taken = Photograph.objects.unlabelled()
    assert {photograph.step for photograph in taken} == {"iron"}
    assert all(12 <= photograph.minutes_since_opening <= 19 for photograph in taken)
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    page.get_by_text("6 photographs without a component").wait_for()
    page.get_by_role("link", name="Say what they show").click()
    expect(page.locator("figure.photograph")).to_have_count(6)
    page.locator("figure.photograph a").first.click()
    for _ in range(5):  # one choice and one touch each; the next comes up by itself
        expect(page.locator(".sentence")).to_contain_text(re.compile(r"1[2-9]\.\d min after opening"))
        page.select_option("#id_part", label="iron electrode")
        with page.expect_navigation():
            page.get_by_role("button", name="Say what it shows").click()
    page.fill("#id_not_evidence", "accidental")
    page.get_by_role("button", name="Say what it shows").click()
    page.get_by_text("no evidence: accidental").first.wait_for()
    assert Photograph.objects.unlabelled().count() == 0
    shown = f"{live_server.url}{reverse('photographs')}?cell=SP-0413"
    page.goto(shown)
    assert page.get_by_text("accidental").count() == 0
    assert Photograph.objects.evidence().count() == 30
    page.goto(f"{shown}&hidden=on")
    expect(page.get_by_text("accidental").first).to_be_visible()
    assert Photograph.objects.count() == 31
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    assert page.get_by_text("photographs without a component").count() == 0


def test_warm_powder_and_a_clock_set_back(at_the_bench, cell, chemist):
    """Any warming shows the card; +5 and +7 min are kept by the steady clock, whatever the wall clock did."""
    page = at_the_bench(card="opening")
    page.clock.install()
    page.reload()
    page.wait_for_selector(".scripted .bench-card.here")
    began = time.monotonic()
    say(page, "Opened now")
    kept_here(page, 1)
    let_go(page)
    touch(page, '[data-deed="next"]')
    page.evaluate(
        "history.replaceState(null, '', '?card=warm'); dispatchEvent(new PopStateEvent('popstate'))"
    )
    page.clock.fast_forward("05:00")
    say(page, "warm")
    page.wait_for_selector(".bench-card.here .bench-cautions[open]")
    heading = page.get_by_role("heading", name="Reduced iron can heat itself in air")
    assert heading.first.is_visible()
    touch(page, ".bench-card.here .bench-cautions[open] form button")
    page.clock.set_system_time(dt.datetime.now(dt.UTC) - dt.timedelta(hours=1))
    page.clock.fast_forward("02:00")
    type_number(page, "48", read_twice=True)
    page.wait_for_selector(".bench-card.here .bench-cautions[open]")
    page.clock.fast_forward("00:10")
    until(lambda: Entry.objects.filter(step="warm").count() == 2)
    first, second = (e.minutes_since_opening for e in Entry.objects.filter(step="warm").order_by("pk"))
    passed = (time.monotonic() - began) / 60  # what really passed meanwhile is counted too
    assert 4.9 <= first <= 5.1 + passed
    assert 6.9 <= second <= 7.1 + passed


def test_two_people_and_one_cell(at_the_bench, browser, live_server, cell, chemist):
    """An entry never collides; a form opened before somebody else's change is refused, with both in view."""
    analyst = makers.make_user("analyst", username="analyst")
    piece = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", place="M2", by=chemist)
    (order,) = bench.send_orders(samples=[piece], technique="section", by=chemist)
    desk = at_the_bench(who=analyst)
    desk.goto(f"{live_server.url}{reverse('sample', args=[piece.code])}")
    tablet = at_the_bench(card="separator")
    say(tablet, "tear")
    send_now(tablet)
    bench.receive_order(order=order, by=chemist, note="back this morning")
    desk.locator('select[name="state"]').select_option("called off")
    with desk.expect_navigation():
        desk.get_by_role("button", name="Note").click()
    expect(desk.get_by_role("heading", name="Changed in between")).to_be_visible()
    expect(desk.locator(".sentence")).to_contain_text(f"{piece.code}, cross section")
    state = desk.get_by_role("row", name="state").locator("td")
    assert state.all_inner_texts() == ["back", "called off"]  # what stands now, and what was typed
    with desk.expect_navigation():
        desk.get_by_role("link", name="Leave it as it stands now").click()
    expect(desk).to_have_url(f"{live_server.url}{reverse('sample', args=[piece.code])}")
    order.refresh_from_db()
    assert (order.state, order.note) == ("back", "back this morning")
    assert Entry.objects.current().get(term__key="separator.state").said == "tear"
