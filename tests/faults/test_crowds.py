"""Many write at once, two edit the same, the database is held: all are served, nothing is overwritten."""

import json
import sqlite3
import threading
import time
from contextlib import closing

import pytest

from tests.faults.hands import PHOTOGRAPH_EVERY, Hand
from tests.lab import Lab, Visitor

pytestmark = pytest.mark.long
WRITERS, EACH, PAIRS = 16, 10, 50


def test_sixteen_tablets_write_at_once(busy: Lab) -> None:
    stop = threading.Event()
    hands = [Hand(busy, number, stop, most=EACH) for number in range(WRITERS)]
    for thread in [hand.start() for hand in hands]:
        thread.join(120)
    assert [hand.refusals for hand in hands] == [[] for _ in hands]
    assert sum(hand.again for hand in hands) == 0, "somebody was turned away"
    assert sum(len(hand.entries) for hand in hands) == WRITERS * (EACH - EACH // PHOTOGRAPH_EVERY)
    assert sum(len(hand.photographs) for hand in hands) == WRITERS * (EACH // PHOTOGRAPH_EVERY)
    sequence = [seq for (seq,) in busy.ask("SELECT seq FROM records_record ORDER BY seq")]
    assert sequence == list(range(1, len(sequence) + 1))
    assert json.loads(busy.manage("verify_files", "--json"))["sound"]


def test_of_two_editors_one_is_told(busy: Lab) -> None:
    editors = [Visitor(busy), Visitor(busy)]
    for editor in editors:
        editor.sign_in("lead", "a long password")
    for pair in range(PAIRS):
        ((seen,),) = busy.ask("SELECT version FROM cells_recipe WHERE code = 'R1'")
        barrier, answers = threading.Barrier(2), {}

        def rename(number: int, seen: int = seen, pair: int = pair) -> None:
            barrier.wait()  # noqa: B023 - both threads of a pair end before the next pair begins
            form = {"seen": str(seen), "title": f"pair {pair}, editor {number}", "note": ""}
            answers[number] = editors[number].post("/recipes/R1/", form)[0]  # noqa: B023

        threads = [threading.Thread(target=rename, args=(number,)) for number in (0, 1)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(120)
        assert sorted(answers.values()) == [200, 409], answers
        winner = next(number for number, status in answers.items() if status == 200)
        assert busy.ask("SELECT title, version FROM cells_recipe WHERE code = 'R1'") == [
            (f"pair {pair}, editor {winner}", seen + 1)
        ]


def test_a_database_that_is_held_for_seconds_is_waited_for(busy: Lab) -> None:
    hand = Hand(busy, 0, threading.Event(), most=1)
    with closing(sqlite3.connect(busy.data / "teardown.sqlite3", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        thread = hand.start()
        time.sleep(3)
        assert hand.entries == {}
        other.execute("ROLLBACK")
        thread.join(120)
    assert len(hand.entries) == 1
    assert hand.refusals == []
