"""Processes are killed at random moments: nothing that was acknowledged is lost, nothing is doubled."""

import json
import random
import threading
import time

import pytest

from tests.faults.hands import Hand
from tests.lab import Lab, wait_for

HANDS = 3
ASK = """
from django.db import transaction
from teardown.accounts.models import User
from teardown.files import runs, tasks
user = User.objects.get(username="analyst")
for number in range({runs}):
    with transaction.atomic():
        how = {{"seconds": {seconds}, "number": number}}
        run = runs.ask("tests.slowly", subject=user, by=user, settings_=how)
        runs.Run.objects.filter(pk=run.pk).update(max_attempts=1000)  # a run lost three times is another test
        tasks.ring_on_commit(run)
"""


@pytest.mark.parametrize("kills", [10, pytest.param(100, marks=pytest.mark.long)])
def test_kills_lose_nothing_acknowledged_and_double_nothing(lab: Lab, kills: int) -> None:
    chance = random.Random(20310304)
    asked = 2 * kills  # so many that the worker is mostly killed over one of them
    lab.python(ASK.format(runs=asked, seconds=0.3))
    stop = threading.Event()
    hands = [Hand(lab, number, stop) for number in range(HANDS)]
    threads = [hand.start() for hand in hands]
    for number in range(kills):
        time.sleep(chance.uniform(0.1, 1.2))
        hurt(lab, ("granian", "db_worker", "everything")[number % 3])
    wait_for(lab.answers)
    wait_for(lambda: _acknowledged(hands), within_s=300)  # a busy machine is slow, and proves as much
    stop.set()
    for thread in threads:
        thread.join(240)
    wait_for(lambda: done(lab) == asked, within_s=300, what=lambda: how_runs_stand(lab))
    nothing_lost_nothing_doubled(lab, hands)
    assert lab.ask("SELECT count(*), count(DISTINCT run_id) FROM files_runinput WHERE role = 'result'") == [
        (asked, asked)
    ]


@pytest.mark.long
def test_a_run_over_which_the_laboratory_was_stopped_has_lost_no_try(lab: Lab) -> None:
    lab.python(ASK.format(runs=1, seconds=600))
    wait_for(lambda: lab.ask("SELECT state, attempts FROM files_run") == [("running", 1)])
    lab.stop()
    assert lab.ask("SELECT state, attempts, lease_owner FROM files_run") == [("queued", 0, "")]


def done(lab: Lab) -> int:
    """Count the runs that are done."""
    return int(lab.ask("SELECT count(*) FROM files_run WHERE state = 'done'")[0][0])


def how_runs_stand(lab: Lab) -> str:
    """Say what became of the runs, and the last words of the laboratory: for whoever reads a failure."""
    rows = lab.ask(
        "SELECT id, state, attempts, lease_owner, lease_until, error FROM files_run WHERE state != 'done'"
    )
    bells = lab.ask("SELECT status, count(*) FROM django_tasks_database_dbtaskresult GROUP BY status")
    return f"{rows}\n{bells}\n{lab.processes('')}\n{lab.log.read_text()[-4000:]}"


def _acknowledged(hands: list[Hand]) -> bool:
    return sum(len(hand.entries) for hand in hands) > 20 and sum(len(hand.photographs) for hand in hands) > 2


def hurt(lab: Lab, what: str) -> None:
    """Kill -9 the server, the worker, or all there is; with all gone, start again as a person would."""
    if what != "everything":
        assert lab.kill(what), f"{what} did not run"
        wait_for(lambda: lab.processes(what) and lab.answers(), within_s=240)
        return
    lab.kill("")
    assert lab.process is not None
    lab.process.wait()
    lab.process = None
    lab.serve()


def nothing_lost_nothing_doubled(lab: Lab, hands: list[Hand]) -> None:
    """Compare what was acknowledged with what is there."""
    assert [hand.refusals for hand in hands] == [[] for _ in hands]
    entries = {key: words for hand in hands for key, words in hand.entries.items()}
    photographs = {key: digest for hand in hands for key, digest in hand.photographs.items()}
    rows = lab.ask(
        "SELECT key, value_text FROM dissection_entry WHERE term_id = "
        "(SELECT id FROM vocabulary_term WHERE key = 'note.words')"
    )
    kept = {_dashed(key): words for key, words in rows}
    assert len(kept) == len(rows) == len(set(kept.values())), "something was doubled"
    assert {key: kept.get(key) for key in entries} == entries, "something acknowledged was lost"
    rows = lab.ask(
        "SELECT p.key, f.sha256 FROM dissection_photograph p "
        "JOIN files_receipt r ON r.id = p.receipt_id JOIN files_storedfile f ON f.id = r.file_id"
    )
    pictures = {_dashed(key): digest for key, digest in rows}
    assert len(pictures) == len(rows) == len(set(pictures.values()))
    assert {key: pictures.get(key) for key in photographs} == photographs
    assert lab.ask("PRAGMA integrity_check") == [("ok",)]
    assert lab.ask("PRAGMA foreign_key_check") == []
    assert json.loads(lab.manage("verify_files", "--json"))["sound"]


def _dashed(key: str) -> str:
    import uuid

    return str(uuid.UUID(key))
