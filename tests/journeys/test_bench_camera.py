"""The camera of the tablet as a live stream: a made film of a label lies before it."""

import io

import numpy as np
import pytest
from django.urls import reverse
from PIL import Image, ImageFilter
from playwright.sync_api import expect

from teardown.dissection import actions as bench
from teardown.dissection.dossier.labels import SIZES, Label, labels_png
from teardown.dissection.models import Photograph
from teardown.files.store import read
from tests import eyes
from tests.journeys.gloves import kept_here, say, send_now, touch, until

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
WIDTH, HEIGHT = 1280, 720


def film_of(code, path):
    """Film a printed label on a grey bench, ten frames of it, hand-held: as YUV4MPEG2, 4:2:0."""
    printed = Image.open(io.BytesIO(labels_png([Label(code, "SP-0413 electrolyte")], SIZES["roll"], 300)))
    with path.open("wb") as film:
        film.write(f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F10:1 Ip A1:1 C420jpeg\n".encode())
        for number in range(10):
            frame = Image.new("RGB", (WIDTH, HEIGHT), (118, 116, 110))
            turned = printed.convert("RGB").rotate(3 + number / 3, expand=True, fillcolor=(118, 116, 110))
            frame.paste(turned, (120 + 4 * number, 60 + 2 * number))
            y, cb, cr = frame.filter(ImageFilter.GaussianBlur(0.8)).convert("YCbCr").split()
            half = (WIDTH // 2, HEIGHT // 2)
            film.write(b"FRAME\n" + np.asarray(y).tobytes())
            for colour in (cb, cr):
                film.write(np.asarray(colour.resize(half)).tobytes())
    return path


@pytest.fixture
def piece(cell, chemist):
    bench.open_cell(dissection=cell.dissection, by=chemist)
    return bench.cut_sample(dissection=cell.dissection, component="electrolyte", by=chemist)


@pytest.fixture
def with_a_camera(playwright, browser_type_launch_args, live_server, chemist, piece, tmp_path):
    """Give a page of the bench on a tablet whose camera sees the label of the sample."""
    film = film_of(piece.code, tmp_path / "label.y4m")
    flags = [
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    ]
    args = browser_type_launch_args["args"] + flags
    tablet = playwright.chromium.launch(**browser_type_launch_args | {"args": args})
    context = tablet.new_context(viewport={"width": 1280, "height": 800})
    context.add_cookies([{"name": "sessionid", "value": eyes.session_of(chemist), "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}{reverse('bench_cell', args=['SP-0413'])}?card=titration_about")
    page.wait_for_selector(".scripted .bench-card.here")
    yield page
    context.close()
    tablet.close()


def test_a_code_is_read_off_the_live_stream_without_a_detector_in_the_browser(with_a_camera, piece):
    page = with_a_camera
    assert page.evaluate("typeof BarcodeDetector") == "undefined"
    touch(page, '.bench-card.here [data-deed="code"]')
    reader = page.locator('[data-dialog="code"] .code-reader')
    touch(page, '[data-dialog="code"] [data-camera]')
    expect(page.locator('[data-dialog="code"]')).not_to_have_attribute("open", "", timeout=60_000)
    assert page.locator('.bench-card.here [data-part="sample"]').inner_text() == piece.code
    expect(reader.locator("video")).to_be_hidden()  # the camera is let go
    active = "document.querySelector('[data-dialog=code] video').srcObject?.active ?? false"
    assert page.evaluate(active) is False


def test_without_network_the_live_reader_lets_go_and_asks_for_the_code(with_a_camera):
    page = with_a_camera
    touch(page, '.bench-card.here [data-deed="code"]')
    page.context.set_offline(True)
    touch(page, '[data-dialog="code"] [data-camera]')
    page.get_by_text("Without the network a photograph cannot be read here").wait_for()
    expect(page.locator("#bench-code")).to_be_focused()
    expect(page.locator('[data-dialog="code"] video')).to_be_hidden()
    page.context.set_offline(False)


def test_the_live_camera_takes_photographs_one_after_another(with_a_camera, cell):
    page = with_a_camera
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="live"]')
    expect(page.locator('[data-part="live-said"]')).to_contain_text(f"{WIDTH} × {HEIGHT} px")
    page.context.set_offline(True)  # nothing leaves the tablet meanwhile, however long a picture takes
    for number in (1, 2):
        touch(page, '[data-deed="snap"]')
        expect(page.locator('[data-part="live-said"]')).to_contain_text("Kept here")
        kept_here(page, number)
    touch(page, '[data-dialog="live"] [data-deed="shut"]')
    expect(page.locator('[data-part="live"]')).to_have_js_property("srcObject", None)
    page.context.set_offline(False)
    send_now(page)
    until(lambda: Photograph.objects.count() == 2)
    for photograph in Photograph.objects.select_related("receipt__file"):
        assert (photograph.width_px, photograph.height_px) == (WIDTH, HEIGHT)
        assert photograph.receipt.digest_claimed == photograph.receipt.file.sha256
        assert photograph.minutes_since_opening is not None
        assert photograph.step == "titration_about"
        assert read(photograph.receipt.file)[:2] == b"\xff\xd8"


def test_without_a_camera_the_live_view_says_why(at_the_bench, cell):
    page = at_the_bench(card="arrival")
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="live"]')
    expect(page.locator('[data-part="live-said"]')).to_contain_text("There is no live view here")
    expect(page.locator('[data-deed="snap"]')).to_be_disabled()
    touch(page, '[data-dialog="live"] [data-deed="shut"]')
    say(page, "label and mark agree")
    kept_here(page, 1)
