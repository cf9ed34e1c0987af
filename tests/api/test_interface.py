"""The interface for notebooks and instruments: keys, tables out, files in."""

import csv
import datetime as dt
import hashlib
import io

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from teardown.accounts.models import User
from teardown.api.actions import digest, issue_key, whose, withdraw_key
from teardown.api.dossier import TABLES
from teardown.api.models import Token
from teardown.cells.models import Cell
from teardown.cycling.models import CyclingFile
from teardown.formats.series_write import BDF_HEADERS, Dialect, write_text
from teardown.imaging.models import Micrograph
from teardown.records.models import Record
from teardown.science.electrochemistry.phantoms import cycling_history
from tests.makers import make_cell, make_test, make_user
from tests.pictures import noise_file

pytestmark = pytest.mark.django_db


@pytest.fixture
def analyst():
    return make_user("analyst")


def bearer(user):
    return {"Authorization": f"Bearer {issue_key(user=user, name='notebook', by=user)[1]}"}


def body(answer):
    return (b"".join(answer) if answer.streaming else answer.content).decode("utf-8-sig")


def test_a_key_is_kept_only_as_its_digest(analyst):
    token, key = issue_key(user=analyst, name="notebook", by=analyst)
    assert token.sha256 == hashlib.sha256(key.encode()).hexdigest() == digest(key)
    assert key not in str(Token.objects.values_list())
    assert key not in str(Record.objects.last().fields())
    assert whose(key) == analyst
    assert Token.objects.get().last_used_at is not None


def test_a_key_dies_by_withdrawal_by_its_end_and_with_its_account(analyst):
    token, key = issue_key(user=analyst, name="a", by=analyst)
    withdraw_key(token=token, by=analyst)
    assert whose(key) is None
    with pytest.raises(ValidationError, match="already"):
        withdraw_key(token=token, by=analyst)
    late, key = issue_key(
        user=analyst, name="b", by=analyst, expires_at=timezone.now() + dt.timedelta(days=1)
    )
    Token.objects.filter(pk=late.pk).update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert whose(key) is None
    _, key = issue_key(user=analyst, name="c", by=analyst)
    User.objects.filter(pk=analyst.pk).update(is_active=False)
    assert whose(key) is None


def test_keys_of_others_are_the_administrator_s(analyst):
    instrument, administrator = make_user("instrument"), make_user("administrator")
    with pytest.raises(PermissionDenied):
        issue_key(user=instrument, name="microscope", by=analyst)
    token, key = issue_key(user=instrument, name="microscope", by=administrator)
    assert whose(key) == instrument
    with pytest.raises(PermissionDenied):
        withdraw_key(token=token, by=analyst)
    withdraw_key(token=token, by=administrator)


@pytest.mark.parametrize("sent", [{}, {"Authorization": "Bearer td_wrong"}, {"Authorization": "Basic x"}])
def test_without_a_key_that_stands_nothing_opens(client, sent):
    """RFC 6750, 3: 401 with WWW-Authenticate; never a way to the sign-in page."""
    for address in ("/api/me", "/api/tables", "/api/tables/cells", "/api/tables/cells/csv"):
        answer = client.get(address, headers=sent)
        assert answer.status_code == 401
        assert answer["WWW-Authenticate"].startswith("Bearer")
    assert client.post("/api/micrographs", headers=sent).status_code == 401


def test_a_session_alone_opens_no_table(client, analyst):
    client.force_login(analyst)
    assert client.get("/api/tables/cells").status_code == 401


def test_cells_come_with_their_units_and_in_pieces(client, analyst):
    for n in range(5):
        make_cell(f"SP-{n}", porosity=0.62)
    head = bearer(analyst)
    piece = client.get("/api/tables/cells?most=2&first=2", headers=head).json()
    names = [column["name"] for column in piece["columns"]]
    assert [row[names.index("cell")] for row in piece["rows"]] == ["SP-2", "SP-3"]
    assert piece["next"] == 4
    assert {c["name"]: c["unit"] for c in piece["columns"]}["iron_mass_g"] == "g"
    one = client.get("/api/tables/cells?cell=sp-4", headers=head).json()
    assert (len(one["rows"]), one["next"]) == (1, None)
    table = list(csv.DictReader(io.StringIO(body(client.get("/api/tables/cells/csv", headers=head)))))
    assert [row["cell"] for row in table] == [f"SP-{n}" for n in range(5)]
    assert table[0]["porosity (1)"] == "0.62"


@pytest.mark.parametrize("name", TABLES)
def test_every_table_opens_empty_and_full(client, analyst, name):
    head = bearer(analyst)
    assert client.get(f"/api/tables/{name}", headers=head).json()["rows"] == []
    make_test(make_cell("SP-1"), end="lab_fault")
    answer = client.get(f"/api/tables/{name}", headers=head)
    assert answer.status_code == 200
    assert len(body(client.get(f"/api/tables/{name}/csv", headers=head)).splitlines()) == 1 + len(
        answer.json()["rows"]
    )


def test_a_censored_test_says_so(client, analyst):
    make_test(make_cell("SP-1"), end="lab_fault")
    make_test(make_cell("SP-2"), end="leak")
    make_test(make_cell("SP-3"))
    piece = client.get("/api/tables/tests", headers=bearer(analyst)).json()
    names = [column["name"] for column in piece["columns"]]
    assert [row[names.index("censored")] for row in piece["rows"]] == [True, False, True]


def test_a_guest_takes_closed_cells_without_their_recipes(client):
    make_cell("SP-1")
    Cell.objects.filter(pk=make_cell("SP-2").pk).update(closed_at=timezone.now())
    guest = make_user("guest")
    piece = client.get("/api/tables/cells", headers=bearer(guest)).json()
    names = [column["name"] for column in piece["columns"]]
    assert [row[names.index("cell")] for row in piece["rows"]] == ["SP-2"]
    assert not {"recipe", "revision", "electrolyte_KOH_mol_L"} & set(names)


def test_an_instrument_sends_and_does_not_read(client):
    instrument, administrator = make_user("instrument"), make_user("administrator")
    head = {"Authorization": f"Bearer {issue_key(user=instrument, name='microscope', by=administrator)[1]}"}
    assert client.get("/api/tables/cells", headers=head).status_code == 403
    data = noise_file("PNG")
    sent = {
        "file": SimpleUploadedFile("f.png", data),
        "pixel_size_um": "0.2",
        "sha256": hashlib.sha256(data).hexdigest(),
    }
    answer = client.post("/api/micrographs", sent, headers=head)
    assert answer.status_code == 200, answer.content
    assert answer.json()["sha256"] == hashlib.sha256(data).hexdigest()
    assert Micrograph.objects.get().by == instrument
    wrong = client.post(
        "/api/micrographs", {"file": SimpleUploadedFile("f.png", data), "sha256": "0" * 64}, headers=head
    )
    assert (wrong.status_code, "not the bytes that were sent" in wrong.json()["error"]) == (422, True)
    text = client.post("/api/micrographs", {"file": SimpleUploadedFile("f.png", b"<html>")}, headers=head)
    assert text.status_code == 422
    assert Micrograph.objects.count() == 1


def series() -> bytes:
    history = cycling_history(cycles=4, seed=1)
    return write_text(history.series, Dialect(BDF_HEADERS))


def test_a_cycling_file_goes_into_the_history_of_its_test(client, analyst):
    make_test(make_cell("SP-1"))
    head, data = bearer(analyst), series()
    answer = client.post("/api/cells/sp-1/cycling", {"file": SimpleUploadedFile("a.csv", data)}, headers=head)
    assert answer.status_code == 200, answer.content
    assert CyclingFile.objects.get().rows == answer.json()["rows"]
    none = client.post("/api/cells/SP-9/cycling", {"file": SimpleUploadedFile("a.csv", data)}, headers=head)
    assert (none.status_code, none.json()["error"]) == (404, "There is no test of a cell SP-9.")
    junk = client.post(
        "/api/cells/SP-1/cycling", {"file": SimpleUploadedFile("b.csv", b"nothing here")}, headers=head
    )
    assert junk.status_code == 422
    assert junk.json()["error"]


@pytest.mark.parametrize(
    "address",
    [
        "/api/tables/cells?most=0",
        "/api/tables/cells?most=99999999999999999999",
        "/api/tables/cells?first=-1",
        "/api/tables/cells?other=1",
        "/api/tables/cells?most=1_0_x",
        f"/api/tables/cells?cell={'x' * 200}",
        "/api/tables/nothing",
        "/api/tables/cells?cell=%00%ff",
        "/api/tables/%F0%9F%A7%AA",
    ],
)
def test_a_wrong_question_is_told_why(client, analyst, address):
    answer = client.get(address, headers=bearer(analyst))
    assert answer.status_code in {200, 400, 404}
    assert answer.status_code == 200 or answer.json()["error"]


def test_the_description_tells_every_answer(client, analyst):
    client.force_login(analyst)
    told = client.get("/api/openapi.json").json()
    assert told["openapi"].startswith("3.1")
    for path, methods in told["paths"].items():
        for method, operation in methods.items():
            assert {"400", "401", "403", "404", "422"} <= set(operation["responses"]), (path, method)
            assert operation["security"]


def test_keys_are_issued_and_withdrawn_on_the_page(client, analyst):
    client.force_login(analyst)
    page = client.post(reverse("keys"), {"name": "balance notebook"})
    key = page.content.decode().split("<code>")[1].split("</code>")[0]
    assert whose(key) == analyst
    assert page["Cache-Control"] == "no-store"
    assert key not in client.get(reverse("keys")).content.decode()
    client.post(reverse("withdraw_key", args=[Token.objects.get().pk]))
    assert whose(key) is None


def test_tables_of_many_cells_take_few_queries(client, analyst, django_assert_max_num_queries):
    for n in range(20):
        make_test(make_cell(f"SP-{n}"), end="leak")
    head = bearer(analyst)
    for name in TABLES:
        client.get(f"/api/tables/{name}", headers=head)
        with django_assert_max_num_queries(9):
            client.get(f"/api/tables/{name}", headers=head)
