"""The same work through a broker: the bell is another, the truth is the same row."""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.lab import Lab, free_port, wait_for

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(shutil.which("redis-server") is None, reason="no redis-server on this machine"),
]
ASK = """
from django.db import transaction
from teardown.files import runs, tasks
from teardown.accounts.actions import welcome
user = welcome(username="analyst", name="Analyst", password=None, roles=["analyst"], by=None)
for seconds in {seconds}:
    with transaction.atomic():
        run = runs.ask("tests.slowly", subject=user, by=user, settings_={{"seconds": seconds}})
        tasks.ring_on_commit(run)
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[str]:
    """A broker of its own on loopback, that keeps nothing."""
    port = free_port()
    command = [
        "redis-server",
        "--port",
        str(port),
        "--bind",
        "127.0.0.1",
        "--save",
        "",
        "--dir",
        str(tmp_path),
    ]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    yield f"redis://127.0.0.1:{port}/0"
    process.terminate()
    process.wait()


def test_runs_are_rung_for_through_a_broker_and_survive_the_kill_of_a_worker(
    tmp_path: Path, broker: str
) -> None:
    lab = Lab(
        tmp_path / "lab",
        TEARDOWN_TASKS_BACKEND="teardown.site.celery.CeleryBackend",
        TEARDOWN_BROKER=broker,
    )
    lab.serve("--workers", "1")
    try:
        lab.python(ASK.format(seconds=[0.1, 0.2, 4]))
        states = "SELECT state, count(*) FROM files_run GROUP BY state ORDER BY state"
        wait_for(lambda: lab.ask(states) == [("done", 2), ("running", 1)])
        assert lab.kill("celery")
        wait_for(lambda: lab.ask(states) == [("done", 3)], within_s=240)
        assert lab.ask("SELECT attempts FROM files_run ORDER BY id") == [(1,), (1,), (2,)]
        assert lab.ask("SELECT count(*) FROM files_runinput WHERE role = 'result'") == [(3,)]
    finally:
        lab.stop()
    assert lab.processes("celery") == lab.processes("granian") == []
