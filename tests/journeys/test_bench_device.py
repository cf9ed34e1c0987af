"""What the tablet itself does: points, codes, sound, blur, and what it refuses to leave behind."""

import io
import re

import numpy as np
import pytest
from django.urls import reverse
from PIL import Image, ImageFilter
from playwright.sync_api import expect
from skimage import data

from teardown.accounts.actions import set_pin
from teardown.dissection import actions as bench
from teardown.dissection.dossier.labels import SIZES, Label, labels_png
from teardown.dissection.models import AudioNote, BenchSession, Entry, Outline, Photograph, Sample
from teardown.dissection.rules.codes import make_code
from teardown.dissection.rules.frames import Frame
from teardown.files.store import read
from tests import makers
from tests.journeys.gloves import GUARD_MS, go, kept_here, say, send_now, touch, until
from tests.journeys.test_bench_stories import keep_photograph

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
MODULE = "(name) => import(document.querySelector('script[src*=leaving]').src.replace('leaving.js', name))"


def point_at(page, x, y):
    """Touch the drawing of the face that lies there, at fractions of the electrode as it is drawn."""
    plate = page.locator(".bench-card.here .bench-point:not([hidden]) [data-plate]").bounding_box()
    page.mouse.click(plate["x"] + x * plate["width"], plate["y"] + y * plate["height"])


def test_a_point_is_put_by_touch_and_by_keys_and_shown_on_every_page(
    at_the_bench, live_server, cell, chemist
):
    page = at_the_bench(card="iron")
    touch(page, '.bench-card.here [data-deed="point"]')
    assert page.locator('.bench-card.here [data-deed="take"]').is_disabled()
    point_at(page, 0.42, 0.61)
    touch(page, '.bench-card.here [data-deed="take"]')
    expect(page.locator('[data-part="where"]')).to_contain_text("A.M2 · 42 % across, 61 % down")
    say(page, "green film")
    touch(page, '.bench-card.here [data-row="place"]')
    assert page.locator(".bench-card.here .bench-point:not([hidden]) .said-here").count() == 1
    touch(page, '.bench-card.here [data-deed="turn"]')  # face B is drawn mirrored
    page.locator(".bench-card.here .bench-point:not([hidden]) svg").focus()
    for key in ("ArrowUp", *["Shift+ArrowUp"] * 8, *["ArrowLeft"] * 10):
        page.keyboard.press(key)
    touch(page, '.bench-card.here [data-deed="take"]')
    say(page, "ochre")
    send_now(page)
    until(lambda: Entry.objects.current().count() == 2)
    first, second = Entry.objects.order_by("pk")
    assert (first.place, first.x, first.y) == (
        "A.M2",
        pytest.approx(0.42, abs=0.01),
        pytest.approx(0.61, abs=0.01),
    )
    assert (second.place, second.x, second.y) == ("B.T2", pytest.approx(0.6), pytest.approx(0.1))
    for address in (reverse("bench_sheet", args=["SP-0413"]), reverse("cell", args=["SP-0413"])):
        page.goto(live_server.url + address)
        assert page.locator(".electrode-drawn .spot").count() == 2
        assert page.get_by_text("42 % across, 61 % down").count() >= 1
    assert page.troubles == []


def test_corners_a_place_and_an_outline_are_tapped_on_a_photograph(at_the_bench, live_server, cell, chemist):
    shown = keep_photograph(cell.dissection, chemist, component="iron_electrode", frame="face A, whole")
    corners = ((0.2, 0.15), (0.75, 0.2), (0.7, 0.85), (0.25, 0.8))
    frame = Frame(corners)
    page = at_the_bench(1280, 1500)
    page.goto(f"{live_server.url}{reverse('photograph', args=[shown.key])}")

    def tap(*points):
        around = page.locator("[data-photo] img").bounding_box()
        for x, y in points:
            page.mouse.click(around["x"] + x * around["width"], around["y"] + y * around["height"])

    page.locator('[data-taps-of="corners"] summary').click()
    tap(*corners[:3], (0.5, 0.5))
    page.locator("[data-photo]").focus()
    page.keyboard.press("Backspace")
    expect(page.locator("[data-photo-said]")).to_contain_text("Tap the bottom left corner")
    tap(corners[3])
    with page.expect_navigation():
        page.get_by_role("button", name="fix the electrode").click()
    page.locator('[data-taps-of="point"] summary').click()
    tap(frame.to_picture(0.85, 0.9))
    expect(page.locator("[data-photo-said]")).to_contain_text("A.B3, 85 % across, 90 % down")
    say_there = page.locator("[data-say]").get_attribute("href")
    with page.expect_navigation():
        page.get_by_role("button", name="it shows this place").click()
    label = Photograph.objects.with_labels().get().label
    assert (label.place, label.x, label.y) == (
        "A.B3",
        pytest.approx(0.85, abs=0.01),
        pytest.approx(0.9, abs=0.01),
    )
    page.goto(f"{live_server.url}{reverse('sample_cut', args=['SP-0413'])}?photograph={shown.key}")
    tap(*(frame.to_picture(x, y) for x, y in ((0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6))))
    page.select_option("#id_component", label="iron electrode")
    with page.expect_navigation():
        page.get_by_role("button", name="name it").click()
    assert Sample.objects.get().place == "A.M2"
    middle = np.mean(Outline.objects.get().on_electrode, axis=0)
    assert middle == pytest.approx([0.5, 0.5], abs=0.02)
    assert page.locator(".electrode-drawn .piece").count() == 1
    page.goto(live_server.url + say_there)  # the bench is led there, with the photograph as what it rests on
    page.wait_for_selector(".scripted .bench-card.here")
    say(page, "green film")
    send_now(page)
    until(lambda: Entry.objects.filter(term__key="iron.colour").exists())
    entry = Entry.objects.get(term__key="iron.colour")
    assert (entry.place, entry.photo) == ("A.B3", shown)


def still_of_a_label(code, tmp_path):
    """Photograph a printed label: turned, a little out of focus, on a grey bench."""
    printed = Image.open(io.BytesIO(labels_png([Label(code, "SP-0413 electrolyte")], SIZES["roll"], 300)))
    still = Image.new("RGB", (1600, 1200), (118, 116, 110))
    still.paste(printed.convert("RGB").rotate(12, expand=True, fillcolor=(118, 116, 110)), (400, 300))
    path = tmp_path / "label.jpg"
    still.filter(ImageFilter.GaussianBlur(1)).save(path, quality=85)
    return str(path)


def test_a_label_is_read_off_a_still_or_typed_with_its_check(
    at_the_bench, cell, chemist, live_server, tmp_path
):
    piece = bench.cut_sample(dissection=cell.dissection, component="electrolyte", by=chemist)
    page = at_the_bench(card="titration_about")
    touch(page, '.bench-card.here [data-deed="code"]')
    page.fill("#bench-code", piece.code[:-1] + ("2" if piece.code[-1] != "2" else "3"))
    touch(page, '[data-dialog="code"] form .strong')
    expect(page.locator('[data-part="code-error"]')).to_contain_text("It was misread")
    page.fill("#bench-code", make_code())
    touch(page, '[data-dialog="code"] form .strong')
    expect(page.locator('[data-part="code-error"]')).to_contain_text("is no sample of SP-0413")
    page.set_input_files("#bench-code-still", still_of_a_label(piece.code, tmp_path))
    page.locator('[data-dialog="code"]:not([open])').wait_for(state="attached", timeout=60_000)
    assert page.locator('.bench-card.here [data-part="sample"]').inner_text() == piece.code
    page.goto(f"{live_server.url}{reverse('samples')}")
    with page.expect_navigation(timeout=60_000):
        page.set_input_files("#read-code-still", still_of_a_label(piece.code, tmp_path))
    assert page.url.endswith(f"/samples/{piece.code}/")


def test_without_network_a_still_asks_for_the_code_to_be_typed(at_the_bench, cell, chemist, tmp_path):
    piece = bench.cut_sample(dissection=cell.dissection, component="electrolyte", by=chemist)
    page = at_the_bench(card="titration_about")
    touch(page, '.bench-card.here [data-deed="code"]')
    page.context.set_offline(True)
    page.set_input_files("#bench-code-still", still_of_a_label(piece.code, tmp_path))
    page.get_by_text("Without the network a photograph cannot be read here").wait_for()
    page.keyboard.type(piece.code.lower())  # the field has the focus already
    touch(page, '[data-dialog="code"] form .strong')
    assert page.locator('.bench-card.here [data-part="sample"]').inner_text() == piece.code
    page.context.set_offline(False)


def test_the_check_character_is_the_same_on_both_sides(at_the_bench):
    page = at_the_bench()
    codes = [make_code() for _ in range(200)]
    swapped = [code[1] + code[0] + code[2:] for code in codes if code[0] != code[1]]
    faults = page.evaluate(
        f"""async (codes) => {{
        const {{ faultOf }} = await ({MODULE})('code-characters.js');
        return codes.map(faultOf); }}""",
        codes + swapped,
    )
    assert faults[:200] == [""] * 200
    assert sum(fault != "" for fault in faults[200:]) > 0.95 * len(faults[200:])


def test_sharpness_is_the_same_on_both_sides_and_blur_is_told_and_kept(at_the_bench, cell):
    page = at_the_bench(card="iron")
    files = {}
    for name, blur in (("sharp", 0), ("blurred", 6)):
        file = io.BytesIO()
        picture = Image.fromarray(data.gravel()).resize((1024, 1024))
        picture.filter(ImageFilter.GaussianBlur(blur)).save(file, "PNG")
        files[name] = {"name": f"{name}.png", "mimeType": "image/png", "buffer": file.getvalue()}
    page.set_input_files("#shutter", [files["sharp"]])
    kept_here(page, 1)
    assert page.locator('[data-deed="another"]').is_hidden()
    page.set_input_files("#shutter", [files["blurred"]])
    page.get_by_text("It looks blurred: take another? This one is kept.").wait_for()
    assert page.locator('[data-deed="another"]').is_visible()
    kept_here(page, 2)
    here = page.evaluate(
        f"""async () => {{
        const {{ Queue }} = await ({MODULE})('bench-queue.js');
        const {{ sharpnessOf }} = await ({MODULE})('bench-sharp.js');
        const rows = await new Queue({{ changed() {{}} }}).all();
        return Promise.all(rows.filter((row) => row.blob).map((row) => sharpnessOf(row.blob))); }}"""
    )
    send_now(page)
    until(lambda: Photograph.objects.count() == 2)
    sharp, blurred = Photograph.objects.order_by("pk")
    assert here == [pytest.approx(sharp.sharpness, rel=0.02), pytest.approx(blurred.sharpness, rel=0.02)]
    assert (sharp.blur, blurred.blur.code) == (None, "photograph.blurred")


def test_a_spoken_note_waits_with_the_rest_and_its_line_follows_it(
    playwright, browser_type_launch_args, live_server, cell, chemist
):
    from tests import eyes

    flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    args = browser_type_launch_args["args"] + flags
    ears = playwright.chromium.launch(**browser_type_launch_args | {"args": args})
    context = ears.new_context(viewport={"width": 1280, "height": 800})
    context.add_cookies([{"name": "sessionid", "value": eyes.session_of(chemist), "url": live_server.url}])
    page = context.new_page()
    bench.open_cell(dissection=cell.dissection, by=chemist)
    page.goto(f"{live_server.url}{reverse('bench_cell', args=['SP-0413'])}?card=iron")
    page.wait_for_selector(".scripted .bench-card.here")
    context.set_offline(True)
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="sound"]')
    touch(page, '[data-deed="speak"]')
    page.get_by_text(re.compile(r"[1-9]\d* s spoken")).wait_for()
    assert page.locator('[data-deed="quiet"]').is_disabled()
    touch(page, '[data-deed="speak"]')
    kept_here(page, 1)
    page.fill("#bench-gist", "gas at the seal")
    touch(page, "[data-gist-form] button")
    kept_here(page, 2)
    page.wait_for_timeout(GUARD_MS)
    context.set_offline(False)
    send_now(page)
    assert page.locator('[data-part="here"]').inner_text() == "0 kept here", page.locator(
        '[data-part="tray"]'
    ).text_content()
    until(lambda: AudioNote.objects.count() == 1 and Entry.objects.filter(audio__isnull=False).exists())
    note, line = (
        AudioNote.objects.select_related("receipt__file").get(),
        Entry.objects.get(audio__isnull=False),
    )
    assert note.receipt.digest_claimed == note.receipt.file.sha256
    assert read(note.receipt.file)[:4] == b"\x1a\x45\xdf\xa3"
    assert (line.said, line.observed_at) == ("gas at the seal", note.spoken_at)
    assert note.minutes_since_opening is not None
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    spoken = page.locator("#spoken")
    assert "gas at the seal" in spoken.inner_text()
    assert page.locator("audio").count() == 0
    with page.expect_download() as coming:
        spoken.get_by_role("link", name="Download the recording").click()
    assert coming.value.suggested_filename.startswith("note.")
    context.close()
    ears.close()


def test_signing_out_is_refused_while_something_waits(at_the_bench, live_server, cell):
    page = at_the_bench()
    page.route("**/bench/keep/", lambda route: route.abort())
    say(page, "label and mark agree")
    kept_here(page, 1)
    page.goto(f"{live_server.url}{reverse('account')}")
    page.locator("main form[data-sign-out] button").click()
    refused = page.locator("dialog.leaving")
    refused.get_by_text("1 thing waits on this tablet").wait_for()
    assert refused.get_by_role("button", name="sign out, the file is safe").is_hidden()
    with page.expect_download() as coming:
        refused.get_by_role("button", name="save to a file").click()
    assert "label and mark agree" in coming.value.path().read_text()
    with page.expect_navigation():
        refused.get_by_role("button", name="sign out, the file is safe").click()
    assert "/sign-in/" in page.url


def test_who_has_nothing_waiting_signs_out_at_once(at_the_bench, live_server, cell):
    page = at_the_bench()
    page.goto(f"{live_server.url}{reverse('account')}")
    with page.expect_navigation():
        page.locator("main form[data-sign-out] button").click()
    assert "/sign-in/" in page.url


def test_closing_the_tab_asks_while_something_waits_and_a_link_does_not(at_the_bench, cell):
    page, asked = at_the_bench(), []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.route("**/bench/keep/", lambda route: route.abort())
    say(page, "label and mark agree")
    kept_here(page, 1)
    touch(page, '[data-deed="more"]')
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-dialog="more"] a', has_text="sheet").click()
    page.wait_for_url("**/sheet/")
    assert asked == []
    page.go_back()
    page.wait_for_selector(".scripted .bench-card.here")
    kept_here(page, 1)
    say(page, "intact")
    kept_here(page, 2)
    page.wait_for_timeout(3500)
    other = page.context.new_page()
    page.close(run_before_unload=True)
    for _ in range(300):  # the question comes when the browser comes to it
        if asked:
            break
        other.wait_for_timeout(100)
    assert asked == ["beforeunload"]


def test_a_wrong_pin_is_said_in_words_and_a_right_one_begins_a_sitting(at_the_bench, cell):
    second = makers.make_user("bench", username="second")
    set_pin(user=second, pin="4711")
    page = at_the_bench()
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="person"]')
    page.select_option("#bench-who", "second")
    for pin, said in (("0000", "4 more tries"), ("4711", "")):
        page.fill("#bench-pin", pin)
        touch(page, '[data-dialog="person"] button[value="pin"]')
        if said:
            page.locator('[data-part="person-error"]', has_text=said).wait_for()
            expect(page.locator("#bench-pin")).to_have_value("")
    page.locator('[data-dialog="person"]:not([open])').wait_for(state="attached")
    go(page, "arrival")
    say(page, "label and mark agree")
    send_now(page)
    until(lambda: Entry.objects.count() == 1)
    assert (Entry.objects.get().observer, Entry.objects.get().session) == (second, BenchSession.objects.get())
