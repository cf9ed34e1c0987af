"""The network dies, the tablet is killed: nothing is lost, nothing comes twice."""

import contextlib
import os
import random
import re
import signal
import socket
import subprocess
import threading
import urllib.request

import pytest
from django.urls import reverse
from django.utils import timezone

from teardown.dissection.models import Entry, Photograph
from tests import eyes, makers
from tests.dissection.makers import ended
from tests.journeys.gloves import say
from tests.lab import wait_for
from tests.pictures import noise_file

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]


class Wire:
    """A loopback wire between browser and server that can be cut and mended."""

    def __init__(self, port):
        self.port, self.up, self.ends = port, True, []
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self.socket.getsockname()[1]}"
        threading.Thread(target=self._serve, daemon=True).start()

    def cut(self):
        """Let nothing through, and drop what is connected."""
        self.up = False
        for end in self.ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def mend(self):
        """Let all through again."""
        self.up = True

    def _serve(self):
        while True:
            try:
                client, _ = self.socket.accept()
            except OSError:
                return
            if not self.up:
                client.close()
                continue
            server = socket.create_connection(("127.0.0.1", self.port))
            self.ends += [client, server]
            for source, target in ((client, server), (server, client)):
                threading.Thread(target=self._carry, args=(source, target), daemon=True).start()

    def _carry(self, source, target):
        with contextlib.suppress(OSError):
            while self.up and (piece := source.recv(65536)):
                target.sendall(piece)
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def wire(live_server):
    made = Wire(int(live_server.url.rpartition(":")[2]))
    yield made
    made.socket.close()


class Tablet:
    """A Chromium of its own that can be killed like a tablet that falls into the sink."""

    def __init__(self, folder, playwright):
        self.folder, self.playwright = folder, playwright

    def start(self):
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        self.process = subprocess.Popen(
            [eyes.chromium(), *FLAGS, "--headless=new", "--no-first-run", f"--user-data-dir={self.folder}",
             f"--remote-debugging-port={port}", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        wait_for(lambda: self._answers(port), within_s=120)
        self.browser = self.playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        page = (
            self.browser.contexts[0].pages[0]
            if self.browser.contexts[0].pages
            else self.browser.contexts[0].new_page()
        )
        page.set_viewport_size({"width": 800, "height": 1280})
        page.set_default_timeout(120_000)
        return page

    def _answers(self, port):
        with (
            contextlib.suppress(OSError),
            urllib.request.urlopen(f"http://127.0.0.1:{port}/json/version"),
        ):
            return True
        return False

    def kill(self):
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=20)
        with contextlib.suppress(Exception):
            self.browser.close()


# The page and all it is made of lie on the tablet, so that it starts without the network.
HELD_HERE = """async () => {
  const { active } = await navigator.serviceWorker.ready;
  const used = performance.getEntriesByType("resource").map((entry) => entry.name);
  const wanted = [location.href.split("?")[0], ...used.filter((name) => /[.](js|css)$/.test(name))];
  const held = await Promise.all(wanted.map((name) => caches.match(name)));
  return active !== null && held.every(Boolean); }"""


@pytest.fixture
def tablet(playwright, tmp_path):
    made = Tablet(tmp_path / "profile", playwright)
    yield made
    if made.process.poll() is None:
        made.kill()


def kept(page, number):
    page.locator('[data-part="here"]', has_text=re.compile(f"^{number} kept here")).wait_for(timeout=240_000)


WORDS = {
    "SP-0413": [
        ("arrival", ["label and mark agree", "intact", "upright", "ring"]),
        ("leak", ["neutral", "alkaline", "strongly alkaline"]),
        ("separator", ["tear", "from both sides", "cannot tell"]),
    ],
    "SP-0414": [
        ("arrival", ["label and mark differ", "wet outside", "on its side", "spill"]),
        ("leak", ["alkaline", "alkaline", "neutral"]),
        ("opening", ["Opened now", "unscrewed", "hiss"]),
        ("separator", ["intact", "from the iron side", "cannot tell"]),
    ],
}
PHOTOGRAPHS = {"SP-0413": 9, "SP-0414": 8}
EACH_BYTES = 3_100_000
PRESENT = {"present": "Opened now"}


def large_pictures(folder, number, start):
    """Make JPEG files of about 3.1 MB, each unlike the others: a small picture with long notes in it."""
    paths = []
    for at in range(start, start + number):
        paths.append(folder / f"{at}.jpg")
        comment = random.Random(at).randbytes(65_000)
        one = b"\xff\xfe" + (len(comment) + 2).to_bytes(2) + comment
        whole = noise_file("JPEG", at, (640, 480))
        paths[-1].write_bytes(whole[:2] + one * (EACH_BYTES // len(one)) + whole[2:])
    return [str(path) for path in paths]


def test_nothing_is_lost_or_doubled(wire, tablet, browser_type_launch_args, transactional_db, tmp_path):
    """Two cells, the network dies, the browser is killed and started again, the network comes back."""
    chemist = makers.make_user("bench", username="chemist")
    for code in WORDS:
        ended(code, chemist)
    page = tablet.start()
    cookie = {"name": "sessionid", "value": eyes.session_of(chemist), "url": wire.address}
    page.context.add_cookies([cookie])
    for code in WORDS:
        page.goto(f"{wire.address}{reverse('bench_cell', args=[code])}?card=arrival")
        page.wait_for_selector(".scripted .bench-card.here")
        wait_for(lambda: page.evaluate(HELD_HERE), within_s=120)
    wire.cut()
    before, said, start = timezone.now(), 0, 0
    for code, cards in WORDS.items():
        for card, words in cards:
            page.goto(f"{wire.address}{reverse('bench_cell', args=[code])}?card={card}")
            page.wait_for_selector(f'.scripted .bench-card.here[data-card="{card}"]')
            for one in words:
                say(page, one)
                said += 1
                kept(page, said + start)
        for path in large_pictures(tmp_path, PHOTOGRAPHS[code], start):
            page.set_input_files("#shutter", path, timeout=120_000)
            start += 1
            kept(page, said + start)
    page.wait_for_timeout(9000)  # it tries to send, and fails
    kept(page, said + start)
    after = timezone.now()
    tablet.kill()

    page = tablet.start()
    page.goto(f"{wire.address}{reverse('bench_cell', args=['SP-0413'])}?card=arrival")
    page.wait_for_selector(".scripted .bench-card.here")
    kept(page, said + start)
    page.context.add_cookies([cookie])  # a browser writes its cookies to disk every half minute only
    assert page.locator('.bench-card.here [data-part="arrival.condition"]').inner_text() == "intact"
    wire.mend()
    kept(page, 0)
    assert page.locator("dialog[open]").count() == 0  # nothing asked anybody to do anything
    tablet.kill()
    assert (Photograph.objects.count(), Entry.objects.count()) == (start, said)
    for code, cards in WORDS.items():
        of_cell = Entry.objects.filter(dissection__cell__code=code).with_words().order_by("pk")
        wanted = [word for _, words in cards for word in words]
        assert [PRESENT.get(entry.said, entry.said) for entry in of_cell] == wanted
    assert all(before <= entry.observed_at <= after for entry in Entry.objects.all())
    for photograph in Photograph.objects.select_related("receipt__file"):
        assert photograph.receipt.digest_claimed == photograph.receipt.file.sha256
        assert photograph.receipt.file.bytes > EACH_BYTES * 0.9
