"""Originals in an S3-compatible store, against a server of that protocol on loopback."""

import os
from collections.abc import Iterator

import pytest

from teardown.files import store

boto3 = pytest.importorskip("boto3", reason="the packages of a larger laboratory are not installed")
server = pytest.importorskip("moto.server", reason="the packages of the tests are not installed")
pytestmark = [pytest.mark.django_db, pytest.mark.filterwarnings("ignore::DeprecationWarning")]
WHERE = {
    "bucket_name": "originals",
    "region_name": "us-east-1",
    "signature_version": "s3v4",
    "access_key": "a-key",
    "secret_key": "a-secret",
    "file_overwrite": False,
}


@pytest.fixture
def bucket(settings) -> Iterator:
    """A bucket on loopback that the settings name as the store of originals."""
    running = server.ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    running.start()
    host, port = running.get_host_and_port()
    address = f"http://{host}:{port}"
    client = boto3.client(
        "s3", endpoint_url=address, region_name="us-east-1", aws_access_key_id="a", aws_secret_access_key="b"
    )
    client.create_bucket(Bucket="originals")
    settings.STORAGES = settings.STORAGES | {
        "originals": {
            "BACKEND": "storages.backends.s3.S3Storage",
            "OPTIONS": WHERE | {"endpoint_url": address},
        }
    }
    yield client
    client.close()
    running.stop()


def test_bytes_are_kept_once_read_back_and_verified(bucket) -> None:
    data = os.urandom(3 * 2**20 + 17)
    first = store.keep(data, by=None, name="map.tif")
    before = bucket.head_object(Bucket="originals", Key=first.file.path)
    second = store.keep(data, by=None, name="the same map.tif")
    assert first.file == second.file
    assert store.read(first.file) == b"".join(store.pieces(first.file)) == data
    assert store.verify(first.file) == ""
    after = bucket.head_object(Bucket="originals", Key=first.file.path)
    assert before["LastModified"] == after["LastModified"]
    assert len(bucket.list_objects_v2(Bucket="originals")["Contents"]) == 1


def test_what_went_missing_or_changed_there_is_found(bucket) -> None:
    gone, changed = store.keep(b"will go", by=None).file, store.keep(b"will change", by=None).file
    bucket.delete_object(Bucket="originals", Key=gone.path)
    bucket.put_object(Bucket="originals", Key=changed.path, Body=b"has changed")
    assert store.verify(gone) == "missing"
    assert store.verify(changed) == "changed"
    assert list(store.unreferenced()) == []
