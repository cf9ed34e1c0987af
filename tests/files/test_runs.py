"""A run is a row with a lease: whoever holds it works, and nobody else writes."""

import datetime as dt
import itertools

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from teardown.files import runs
from teardown.files.models import Run, RunInput
from teardown.files.store import keep
from tests.makers import make_cell, make_user

pytestmark = pytest.mark.django_db
NUMBERS = itertools.count()
LONG_AGO = dt.datetime(2001, 1, 1, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def work(settings) -> None:
    """Functions that a run may name."""
    settings.WORK = {
        "tests.count": ("tests.files.work.count", "1"),
        "tests.other": ("tests.files.work.count", "1"),
    }


def make_run(**settings_: object) -> Run:
    """Ask for a run nobody asked for before."""
    return runs.ask(
        "tests.count",
        subject=make_cell(),
        by=make_user("analyst"),
        settings_={"n": next(NUMBERS)} | settings_,
    )


def result_of(run: Run, words: str = "found") -> RunInput:
    """Make a row to write as the result of a run."""
    return RunInput(run=run, role="result", subject=words)


def silence(run: Run) -> None:
    """Let the lease of a run end."""
    Run.objects.filter(pk=run.pk).update(lease_until=LONG_AGO)


def test_the_same_question_is_the_same_run() -> None:
    cell, user, file = make_cell(), make_user("analyst"), keep(b"series", by=None).file
    asked = [
        runs.ask("tests.count", subject=cell, by=user, settings_={"smooth": 3}, inputs={"series": file})
        for _ in range(3)
    ]
    assert len({run.pk for run in asked}) == 1
    assert [row.file for row in asked[0].inputs.all()] == [file]


def test_another_setting_input_subject_or_function_is_another_run() -> None:
    cell, user = make_cell(), make_user("analyst")
    one, two = keep(b"one", by=None).file, keep(b"two", by=None).file
    source = make_run()
    asked = [
        runs.ask("tests.count", subject=cell, by=user),
        runs.ask("tests.other", subject=cell, by=user),
        runs.ask("tests.count", subject=make_cell(), by=user),
        runs.ask("tests.count", subject=cell, by=user, settings_={"smooth": 3}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"series": one}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"series": two}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"other role": one}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"first": source}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"row": (cell, "a" * 64)}),
        runs.ask("tests.count", subject=cell, by=user, inputs={"row": (cell, "b" * 64)}),
    ]
    assert len({run.key for run in asked}) == len(asked)


def test_settings_come_back_as_they_were_given() -> None:
    given = {"smooth_px": 1.5, "phases": ["iron", "magnetite"], "limit": None, "strict": True}
    assert make_run(**given).settings.items() >= given.items()


def test_a_new_release_of_a_function_is_another_run(settings) -> None:
    cell, user = make_cell(), make_user("analyst")
    first = runs.ask("tests.count", subject=cell, by=user)
    settings.WORK = {"tests.count": ("tests.files.work.count", "2")}
    assert runs.ask("tests.count", subject=cell, by=user).pk != first.pk


def test_who_comes_second_gets_nothing() -> None:
    run = make_run()
    assert runs.claim(run.pk, "first").lease_owner == "first"
    assert runs.claim(run.pk, "second") is None


def test_a_run_is_written_once_with_its_result() -> None:
    run = make_run()
    runs.claim(run.pk, "first")
    runs.beat(run.pk, "first", 0.5, "half way")
    run.refresh_from_db()
    assert (run.progress, run.note) == (0.5, "half way")
    runs.finish(run.pk, "first", [result_of(run)])
    run.refresh_from_db()
    assert (run.state, run.progress, run.release) == ("done", 1, "0.1.0")
    assert run.inputs.filter(role="result").count() == 1
    assert runs.claim(run.pk, "second") is None


def test_whoever_lost_the_lease_writes_nothing() -> None:
    run = make_run()
    runs.claim(run.pk, "slow")
    silence(run)
    runs.claim(run.pk, "quick")
    with pytest.raises(runs.LeaseLost, match="no longer with slow"):
        runs.beat(run.pk, "slow", 0.9)
    with pytest.raises(runs.LeaseLost):
        runs.finish(run.pk, "slow", [result_of(run)])
    runs.fail(run.pk, "slow", "I think it failed")
    run.refresh_from_db()
    assert (run.state, run.lease_owner) == ("running", "quick")
    assert run.inputs.count() == 0


def test_a_result_that_cannot_be_written_leaves_the_run_open() -> None:
    run = make_run()
    runs.claim(run.pk, "first")
    bad = RunInput(run=run, role="two things at once", subject="x", file=keep(b"x", by=None).file)
    with pytest.raises(IntegrityError, match="an_input_is_one_thing"), transaction.atomic():
        runs.finish(run.pk, "first", [result_of(run), bad])
    run.refresh_from_db()
    assert run.state == "running"
    assert run.inputs.count() == 0


def test_a_finished_run_is_never_changed() -> None:
    run = make_run()
    runs.claim(run.pk, "first")
    runs.finish(run.pk, "first", [])
    with pytest.raises(IntegrityError, match="never changed"):
        Run.objects.filter(pk=run.pk).update(note="other")


def test_a_failed_run_says_why_and_can_be_asked_again() -> None:
    run = make_run(n=-1)
    runs.claim(run.pk, "first")
    runs.fail(run.pk, "first", "The image has no scale.")
    run.refresh_from_db()
    assert (run.state, run.error) == ("failed", "The image has no scale.")
    subject = type(make_cell()).objects.get(pk=run.subject.split(":")[1])
    again = runs.ask("tests.count", subject=subject, by=run.asked_by, settings_={"n": -1})
    assert again.pk == run.pk
    assert (again.state, again.error, again.attempts, again.finished_at) == ("queued", "", 0, None)


def test_silent_workers_lose_their_runs_and_three_losses_are_enough() -> None:
    run = make_run()
    for number in (1, 2, 3):
        assert runs.claim(run.pk, f"worker {number}").attempts == number
        assert runs.take_back(timezone.now()) == ([], 0)
        silence(run)
        assert runs.take_back(timezone.now()) == (([run.pk], 0) if number < 3 else ([], 1))
    run.refresh_from_db()
    assert run.state == "failed"
    assert run.error.startswith("The worker was lost each time it tried.")


def test_only_the_runs_of_a_dead_worker_are_let_go() -> None:
    here, there = make_run(), make_run()
    runs.claim(here.pk, "lab:17:aa")
    runs.claim(there.pk, "lab:170:bb")
    assert runs.let_go("lab:17:") == 1
    assert [Run.objects.get(pk=run.pk).state for run in (here, there)] == ["queued", "running"]


def test_waiting_runs_are_unheard_only_when_nobody_is_at_work() -> None:
    waiting, other = make_run(), make_run()
    later = timezone.now() + dt.timedelta(seconds=20)
    assert runs.unheard(timezone.now()) == []
    assert runs.unheard(later) == [waiting.pk, other.pk]
    runs.claim(other.pk, "first")
    assert runs.unheard(later) == []
    runs.finish(other.pk, "first", [])
    assert runs.unheard(timezone.now() + dt.timedelta(seconds=5)) == []
    assert runs.unheard(timezone.now() + dt.timedelta(seconds=60)) == [waiting.pk]


class Lease(RuleBasedStateMachine):
    """Three workers, a reaper and a person who asks again, in any order, against what must stay true."""

    workers = st.sampled_from(["anna's machine", "cellar", "third"])

    @initialize()
    def begin(self) -> None:
        self.world = transaction.atomic()
        self.world.__enter__()
        self.run = make_run()
        self.holder, self.attempts, self.written, self.over = "", 0, 0, False

    @rule(worker=workers)
    def claim(self, worker: str) -> None:
        state = Run.objects.get(pk=self.run.pk)
        free = state.state == "queued" or (state.state == "running" and state.lease_until == LONG_AGO)
        won = runs.claim(self.run.pk, worker)
        assert (won is not None) == (free and self.attempts < 3)
        if won:
            self.holder, self.attempts = worker, self.attempts + 1

    @rule(worker=workers, progress=st.floats(-1, 2))
    def beat(self, worker: str, progress: float) -> None:
        if worker == self.holder:
            runs.beat(self.run.pk, worker, progress)
        else:
            with pytest.raises(runs.LeaseLost):
                runs.beat(self.run.pk, worker, progress)

    @rule(worker=workers)
    def finish(self, worker: str) -> None:
        if worker == self.holder:
            runs.finish(self.run.pk, worker, [result_of(self.run, worker)])
            self.holder, self.written, self.over = "", self.written + 1, True
        else:
            with pytest.raises(runs.LeaseLost):
                runs.finish(self.run.pk, worker, [result_of(self.run, worker)])

    @rule(worker=workers)
    def fail(self, worker: str) -> None:
        runs.fail(self.run.pk, worker, "refused")
        if worker == self.holder:
            self.holder = ""

    @precondition(lambda self: self.holder)
    @rule()
    def fall_silent(self) -> None:
        silence(self.run)

    @rule()
    def reap(self) -> None:
        late = Run.objects.filter(pk=self.run.pk, state="running", lease_until=LONG_AGO).exists()
        again, given_up = runs.take_back(timezone.now())
        assert (self.run.pk in again, given_up) == (
            late and self.attempts < 3,
            int(late and self.attempts == 3),
        )
        if late:
            self.holder = ""

    @rule()
    def ask_again(self) -> None:
        failed = Run.objects.get(pk=self.run.pk).state == "failed"
        subject = type(make_cell()).objects.get(pk=self.run.subject.split(":")[1])
        again = runs.ask("tests.count", subject=subject, by=self.run.asked_by, settings_=self.run.settings)
        assert again.pk == self.run.pk
        if failed:
            self.attempts = 0

    def teardown(self) -> None:
        if hasattr(self, "world"):
            transaction.set_rollback(True)
            self.world.__exit__(None, None, None)

    @invariant()
    def one_truth(self) -> None:
        run = Run.objects.get(pk=self.run.pk)
        results = run.inputs.filter(role="result").count()
        assert results == self.written == int(run.state == "done") <= 1
        assert run.attempts == self.attempts <= run.max_attempts
        assert (run.state == "running") == bool(self.holder)
        if self.holder:
            assert run.lease_owner == self.holder
        assert not self.over or run.state == "done"


def test_in_any_order_a_run_is_written_at_most_once_by_its_holder() -> None:
    run_state_machine_as_test(
        Lease, settings=hypothesis_settings(max_examples=40, stateful_step_count=25, deadline=None)
    )
