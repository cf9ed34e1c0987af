"""Work is done by whoever hears the bell, and the bell may be lost."""

import datetime as dt

import pytest
from django.core.management import call_command
from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks_db.models import DBTaskResult

from teardown.files import runs, tasks
from teardown.files.models import Run
from tests.makers import make_cell, make_user

pytestmark = pytest.mark.django_db
FUNCTIONS = ("count", "slowly", "refuse", "break_down", "find_it_locked", "stop")
WORKER = pytest.mark.django_db(transaction=True)  # the queue's worker opens and closes connections of its own
LATER = dt.timedelta(minutes=2)


@pytest.fixture(autouse=True)
def work(settings) -> None:
    """Functions that a run may name."""
    settings.WORK = {f"tests.{name}": (f"tests.files.work.{name}", "1") for name in FUNCTIONS}


@pytest.fixture
def queue(settings) -> None:
    """The embedded queue, as in use."""
    settings.TASKS = {
        "default": {"BACKEND": "django_tasks_db.DatabaseBackend", "ENQUEUE_ON_COMMIT": False, "QUEUES": []}
    }


def make_run(function: str = "count", **settings_: object) -> Run:
    """Ask for a run."""
    return runs.ask(f"tests.{function}", subject=make_cell(), by=make_user("analyst"), settings_=settings_)


def test_what_was_found_is_written_with_the_run() -> None:
    run = make_run()
    assert tasks.work.func(run.pk) == "done"
    run.refresh_from_db()
    assert run.state == "done"
    assert [row.subject for row in run.inputs.filter(role="result")] == ["one thing"]


def test_a_bell_for_a_run_that_is_done_does_nothing() -> None:
    run = make_run()
    assert [tasks.work.func(run.pk) for _ in range(3)] == ["done", "not mine", "not mine"]
    assert run.inputs.filter(role="result").count() == 1


def test_a_refusal_is_told_in_words_with_its_code() -> None:
    run = make_run("refuse")
    assert tasks.work.func(run.pk) == "refused"
    run.refresh_from_db()
    assert (run.state, run.error) == (
        "failed",
        "The image has no scale. Type the width of a pixel. [tests.E001]",
    )


def test_an_unforeseen_fault_ends_the_run_and_not_the_worker() -> None:
    run = make_run("break_down")
    assert tasks.work.func(run.pk) == "failed"
    run.refresh_from_db()
    assert (run.state, run.error) == ("failed", "ZeroDivisionError: division by zero")


def test_a_busy_database_is_no_fault_of_the_run_and_is_met_three_times_at_most() -> None:
    run = make_run("find_it_locked")
    assert [tasks.work.func(run.pk) for _ in range(3)] == ["waits", "waits", "failed"]
    run.refresh_from_db()
    assert (run.state, run.attempts) == ("failed", 3)
    assert run.error == "The database was not to be had, 3 times over: database is locked"


def test_a_worker_that_is_told_to_stop_lets_go_of_its_run_however_often() -> None:
    run = make_run("stop")
    for _ in range(4):
        with pytest.raises(SystemExit):
            tasks.work.func(run.pk)
    run.refresh_from_db()
    assert (run.state, run.lease_owner, run.attempts) == ("queued", "", 0)


def test_work_off_does_what_waits_in_the_order_it_was_asked() -> None:
    asked = [make_run(), make_run("refuse"), make_run("break_down"), make_run()]
    assert tasks.work_off() == 4
    assert [Run.objects.get(pk=run.pk).state for run in asked] == ["done", "failed", "failed", "done"]


@WORKER
def test_a_rung_run_is_worked_off_by_the_worker_of_the_queue(queue: None) -> None:
    run = make_run()
    tasks.ring(run.pk)
    call_command("db_worker", batch=True, queue_name="*", startup_delay=False, interval=0, verbosity=0)
    run.refresh_from_db()
    assert run.state == "done"
    assert DBTaskResult.objects.get().return_value == "done"


@WORKER
def test_what_is_short_in_the_doing_overtakes_what_is_long(queue: None) -> None:
    long, early, late = make_run(), make_run(), make_run()
    tasks.ring(long.pk, behind=True)
    tasks.ring(early.pk)
    tasks.ring(late.pk)
    call_command("db_worker", batch=True, queue_name="*", startup_delay=False, interval=0, verbosity=0)
    done = Run.objects.filter(state="done").order_by("finished_at")
    assert list(done.values_list("pk", flat=True)) == [early.pk, late.pk, long.pk]


@pytest.mark.long
def test_a_broker_without_an_order_is_rung_all_the_same(settings, monkeypatch) -> None:
    settings.TASKS = {"default": {"BACKEND": "teardown.site.celery.CeleryBackend", "QUEUES": []}}
    broker = import_string("teardown.site.celery.app")
    monkeypatch.setattr(broker.conf, "broker_url", "memory://")
    run = make_run()
    tasks.ring(run.pk, behind=True)
    with broker.connection_for_read() as line, line.SimpleQueue("celery") as bells:
        path, arguments, _ = bells.get(timeout=5).payload[0]
    assert (path, arguments) == (tasks.work.module_path, [run.pk])


def test_a_lost_bell_is_rung_again(queue: None) -> None:
    run = make_run()
    assert tasks.reap() == (0, 0)
    assert tasks.reap(timezone.now() + LATER) == (1, 0)
    assert DBTaskResult.objects.get().args_kwargs["args"] == [run.pk]


def test_bells_do_not_pile_up_while_nobody_hears(queue: None) -> None:
    for _ in range(5):
        tasks.ring(make_run().pk)
    for _ in range(10):
        assert tasks.reap(timezone.now() + LATER) == (0, 0)
    assert DBTaskResult.objects.count() == 5


@WORKER
def test_the_run_of_a_silent_worker_is_taken_back_and_done_by_the_next(queue: None) -> None:
    run = make_run()
    runs.claim(run.pk, "a worker that was killed")
    assert tasks.reap(timezone.now() + LATER) == (1, 0)
    call_command("db_worker", batch=True, queue_name="*", startup_delay=False, interval=0, verbosity=0)
    run.refresh_from_db()
    assert (run.state, run.attempts) == ("done", 2)
    assert run.inputs.filter(role="result").count() == 1


@WORKER
def test_yesterdays_bells_are_forgotten(queue: None) -> None:
    tasks.ring(make_run().pk)
    call_command("db_worker", batch=True, queue_name="*", startup_delay=False, interval=0, verbosity=0)
    tasks.ring(make_run().pk)
    tasks.reap(timezone.now() + dt.timedelta(days=2))
    assert [bell.status for bell in DBTaskResult.objects.all()] == ["READY"]


def test_a_bell_that_hung_for_days_and_is_answered_now_stays(queue: None) -> None:
    tasks.ring(make_run().pk)
    now = timezone.now()
    DBTaskResult.objects.update(status="RUNNING", enqueued_at=now - dt.timedelta(days=9), started_at=now)
    tasks.reap(now)
    assert DBTaskResult.objects.count() == 1


def test_a_bell_that_cannot_be_rung_leaves_the_run_waiting(settings, caplog) -> None:
    settings.TASKS = {
        "default": {
            "BACKEND": "django_tasks_db.DatabaseBackend", "ENQUEUE_ON_COMMIT": False, "QUEUES": ["another"],
        }
    }  # fmt: skip
    run = make_run()
    tasks.ring(run.pk)
    run.refresh_from_db()
    assert run.state == "queued"
    assert f"could not ring for run {run.pk}; it waits" in caplog.text


@pytest.mark.django_db(transaction=True)
def test_the_heart_beats_through_a_long_silence(settings) -> None:
    settings.WORK_LEASE_SECONDS = 0.6
    run = make_run("slowly", seconds=1.5)
    assert tasks.work.func(run.pk) == "done"
