"""A full disk and a busy database are told in words, with a status that a device understands."""

import errno

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.test import Client, RequestFactory

from teardown.files import store
from teardown.files.middleware import refusal_of
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client: Client) -> Client:
    client.force_login(make_user("bench"))
    return client


def test_a_large_upload_is_refused_before_it_is_taken_in(signed_in: Client, settings) -> None:
    settings.UPLOAD_RESERVE_BYTES = 2**60
    answer = signed_in.post("/account/", {"file": SimpleUploadedFile("map.tif", bytes(200_000))})
    assert answer.status_code == 507
    assert "too little to keep" in answer.content.decode()


def test_what_people_type_still_fits(signed_in: Client, settings) -> None:
    settings.UPLOAD_RESERVE_BYTES = 2**60
    assert signed_in.post("/account/", {"pin": "1"}).status_code == 200


def test_reading_goes_on_with_a_full_disk(signed_in: Client, settings) -> None:
    settings.UPLOAD_RESERVE_BYTES = 2**60
    assert signed_in.get("/account/").status_code == 200


@pytest.mark.parametrize(
    ("fault", "status"),
    [
        (store.NoRoom("The disk is full."), 507),
        (OSError(errno.ENOSPC, "No space left on device"), 507),
        (OperationalError("database or disk is full"), 507),
        (OperationalError("database is locked"), 503),
    ],
)
def test_each_fault_has_its_status_and_its_words(fault: Exception, status: int) -> None:
    request = RequestFactory().post("/", b"{}", content_type="application/json")
    answer = refusal_of(request, fault)
    assert answer.status_code == status
    assert b"error" in answer.content
    assert answer.headers.get("Retry-After") == ("5" if status == 503 else None)


def test_any_other_fault_is_left_to_others() -> None:
    assert refusal_of(RequestFactory().get("/"), OSError(errno.EIO, "Input/output error")) is None


def test_more_files_than_one_request_may_bring_are_refused_in_words(signed_in: Client, settings) -> None:
    settings.DATA_UPLOAD_MAX_NUMBER_FILES = 2
    files = [SimpleUploadedFile(f"{number}.tif", b"x") for number in range(3)]
    answer = signed_in.post("/micrographs/add/", {"files": files})
    assert answer.status_code == 400
    assert "More than 2 files came at once. Send them in parts" in answer.content.decode()


def test_a_device_learns_in_words_that_it_sent_too_much_at_once(signed_in: Client, settings) -> None:
    settings.DATA_UPLOAD_MAX_NUMBER_FIELDS = 2
    answer = signed_in.post(
        "/account/", {"a": "1", "b": "2", "c": "3"}, headers={"accept": "application/json"}
    )
    assert (answer.status_code, answer.json()["error"].startswith("The form is larger")) == (400, True)


def test_a_name_that_is_not_served_is_told_where_names_are_added(client: Client, settings) -> None:
    settings.ALLOWED_HOSTS = ["lab.example"]
    answer = client.get("/", headers={"host": "elsewhere.example"})
    assert answer.status_code == 400
    assert "add the name to TEARDOWN_HOSTS" in answer.content.decode()
    assert "elsewhere" not in answer.content.decode()
