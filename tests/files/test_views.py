"""Files as they are handed out: whole or in part, never run by a browser, never to those who may not."""

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from teardown.cells.models import Cell
from teardown.dissection import actions as bench
from teardown.files.models import Run
from teardown.files.rules import Unsatisfiable, byte_range, plain_name, spelled_out
from teardown.files.store import derived, keep
from tests.makers import NOW, make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
PNG = b"\x89PNG\r\n\x1a\n" + b"0" * 50


@pytest.fixture
def analyst(client):
    user = make_user("analyst", "lead")
    client.force_login(user)
    return user


def body(answer):
    return b"".join(answer) if answer.streaming else answer.content


def test_an_original_comes_back_bit_for_bit_as_an_attachment(client, analyst):
    receipt = keep(b"0123456789", by=analyst, name="tensión µ.csv")
    answer = client.get(reverse("original", args=[receipt.file.sha256]))
    assert body(answer) == b"0123456789"
    assert answer["Content-Disposition"] == "attachment; filename*=utf-8''tensi%C3%B3n%20%C2%B5.csv"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["Content-Type"] == "application/octet-stream"
    assert "private" in answer["Cache-Control"]
    assert "immutable" in answer["Cache-Control"]


@pytest.mark.parametrize(
    ("asked", "status", "wanted", "told"),
    [
        ("bytes=0-3", 206, b"0123", "bytes 0-3/10"),
        ("bytes=7-", 206, b"789", "bytes 7-9/10"),
        ("bytes=-2", 206, b"89", "bytes 8-9/10"),
        ("bytes=-99", 206, b"0123456789", "bytes 0-9/10"),
        ("bytes=8-99", 206, b"89", "bytes 8-9/10"),
        ("bytes=0-1,4-5", 200, b"0123456789", None),
        ("bytes=5-2", 200, b"0123456789", None),
        ("lines=1-2", 200, b"0123456789", None),
        ("bytes=10-", 416, b"The file is shorter than that.", "bytes */10"),
    ],
)
def test_a_single_range_is_honoured(client, analyst, asked, status, wanted, told):
    """RFC 9110, 14.1.2 and 14.2: single ranges; others may be ignored; 416 beyond the end."""
    receipt = keep(b"0123456789", by=analyst)
    answer = client.get(reverse("original", args=[receipt.file.sha256]), headers={"Range": asked})
    assert (answer.status_code, body(answer), answer.get("Content-Range")) == (status, wanted, told)


@given(st.integers(0, 50), st.integers(0, 60), st.integers(0, 60))
def test_a_range_never_leaves_the_file(size, first, last):
    try:
        found = byte_range(f"bytes={first}-{last}", size)
    except Unsatisfiable:
        assert first >= size
        return
    assert found is None or 0 <= found[0] <= found[1] < size


def test_a_known_file_is_not_sent_again(client, analyst):
    address = reverse("original", args=[keep(b"abc", by=analyst).file.sha256])
    whole = client.get(address)
    assert body(whole) == b"abc"
    mark = whole["ETag"]
    assert client.get(address, headers={"If-None-Match": mark}).status_code == 304
    stale = client.get(address, headers={"Range": "bytes=0-0", "If-Range": '"other"'})
    assert (stale.status_code, body(stale)) == (200, b"abc")


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\x\\y.png", "y.png"),
        ("a\r\nSet-Cookie: x.csv", "aSet-Cookie: x.csv"),
        ("\u202egnp.exe", "gnp.exe"),
        ("..", "file"),
        ("", "file"),
        ("x" * 300, "x" * 200),
    ],
)
def test_a_name_is_only_ever_a_name(client, analyst, name, plain):
    assert plain_name(name) == plain
    receipt = keep(b"abc" + name.encode(), by=analyst, name=name)
    answer = client.get(reverse("original", args=[receipt.file.sha256]))
    assert body(answer) == b"abc" + name.encode()
    assert "\n" not in answer["Content-Disposition"]


def test_only_raster_images_are_shown_within_pages(client, analyst):
    derived().save("runs/1/overlay.png", ContentFile(PNG))
    derived().save("runs/1/page.png", ContentFile(b"<html><script>"))
    shown = client.get(reverse("derived", args=["runs/1/overlay.png"]))
    assert (shown["Content-Type"], body(shown)) == ("image/png", PNG)
    assert "Content-Disposition" not in shown
    assert client.get(reverse("derived", args=["runs/1/page.png"])).status_code == 404
    for wrong in ("nothing.png", "../originals/x", "runs", "%00"):
        assert client.get("/derived/" + wrong).status_code in {400, 404}


def test_anonymous_gets_no_file(client):
    receipt = keep(b"abc", by=None)
    answer = client.get(reverse("original", args=[receipt.file.sha256]))
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]


def test_a_digest_is_no_right_a_guest_has_the_originals_of_closed_cells_alone(client):
    chemist, guest = make_user("bench"), make_user("guest")
    open_, closed = make_cell(), make_cell()
    digests = {}
    for cell in (open_, closed):
        make_test(cell, end="leak")
        dissection = bench.start_dissection(cell=cell, by=chemist, at=NOW)
        kept = bench.add_photograph(
            file=PNG + cell.code.encode(), name="1.png", by=chemist, dissection=dissection, size_px=(1, 1)
        )
        digests[cell.pk] = kept.receipt.file.sha256
    Cell.objects.filter(pk=closed.pk).update(closed_at=NOW)
    loose = keep(b"of no cell", by=chemist).file.sha256
    client.force_login(guest)
    answers = [
        client.get(reverse("original", args=[d])) for d in (digests[closed.pk], digests[open_.pk], loose)
    ]
    assert [answer.status_code for answer in answers] == [200, 404, 404]
    assert body(answers[0]).startswith(PNG)
    derived().save("runs/1/closed.png", ContentFile(PNG))
    assert client.get(reverse("derived", args=["runs/1/closed.png"])).status_code == 403
    client.force_login(chemist)
    assert body(client.get(reverse("original", args=[digests[open_.pk]]))).startswith(PNG)


def make_run(**fields):
    return Run.objects.create(
        key=f"{Run.objects.count():064}",
        function="imaging.section",
        function_version="1",
        subject="imaging.micrograph:12",
        asked_at=timezone.now(),
        **fields,
    )


def test_a_run_says_how_far_it_is_and_stops_asking_when_it_is_over(client, analyst):
    address = reverse(
        "run", args=[make_run(state="running", progress=0.4, note="oxide", lease_until=timezone.now()).pk]
    )
    piece = client.get(address, headers={"HX-Request": "true"}).content.decode()
    assert f'hx-get="{address}"' in piece
    assert 'value="0.400"' in piece
    assert "40 %, oxide" in piece
    Run.objects.update(state="done", progress=1, lease_until=None, finished_at=timezone.now())
    over = client.get(address + "?then=/cells/", headers={"HX-Request": "true"}).content.decode()
    assert "hx-" not in over
    assert 'href="/cells/"' in over
    outside = client.get(address + "?then=//evil.example/", headers={"HX-Request": "true"})
    assert b"evil" not in outside.content


def test_a_failed_run_says_why(client, analyst):
    address = reverse("run", args=[make_run(state="failed", error="Too few fields.").pk])
    assert "Too few fields." in client.get(address).content.decode()


def test_the_lists_hold_their_number_of_queries(client, analyst, django_assert_num_queries):
    for n in range(30):
        make_run()
        keep(f"{n}".encode(), by=analyst, name=f"{n}.csv")
    for name in ("runs", "arrivals"):
        client.get(reverse(name))
        with django_assert_num_queries(6):  # session, user, roles, what waits, count, rows
            client.get(reverse(name))


def test_a_list_is_taken_away_as_it_is_shown(client, analyst):
    keep(b"1", by=analyst, name="=cmd.csv")
    keep(b"2", by=analyst, name="other.csv")
    text = body(client.get(reverse("arrivals"), {"name": "cmd", "export": "csv"})).decode("utf-8-sig")
    assert "'=cmd.csv" in text
    assert "other.csv" not in text


def test_settings_are_spelled_out_to_the_last_digit():
    """Nested names are joined, lists laid out, and nothing is rounded; many values make a group."""
    levels = {"pore": 0.14, "oxides": [0.4, 0.6], "bright": None, "of": {"sure": True}}
    many = {str(number): number for number in range(20)}
    plain, known = spelled_out(
        {"edge_sigma_px": 0.8610734233381028, "levels": levels, "known": many, "regions": {}}
    )
    assert plain == (
        "",
        [
            ("edge_sigma_px", "0.8610734233381028"),
            ("levels › pore", "0.14"),
            ("levels › oxides", "0.4, 0.6"),
            ("levels › bright", "none"),
            ("levels › of › sure", "yes"),
        ],
    )
    assert known[0] == "known"
    assert known[1][19] == ("known › 19", "19")
    assert spelled_out({}) == []
