"""Work off a run; look for runs whose worker fell silent; ring for them again."""

import datetime as dt
import logging
import os
import socket
import threading
import time
import uuid
from collections.abc import Callable, Iterable

from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError, connection, models, transaction
from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks import task, task_backends
from django_tasks_db.backend import DatabaseBackend
from django_tasks_db.models import DBTaskResult

from teardown.files import runs
from teardown.files.models import Run
from teardown.files.store import sweep
from teardown.science.errors import Refusal

log = logging.getLogger(__name__)
Beat = Callable[[float, str], None]
Function = Callable[[Run, Beat], Iterable[models.Model]]
BEHIND = -10  # what is long in the doing waits behind whatever is not, however late that was asked for


@task()
def work(run_id: int) -> str:
    """Work off one run, if it is to be had; say how it went."""
    owner = f"{socket.gethostname()}:{os.getpid()}:{uuid.uuid4().hex[:8]}"
    run = runs.claim(run_id, owner)
    if run is None:
        return "not mine"
    with _Heart(run_id, owner) as heart:
        try:
            function: Function = import_string(settings.WORK[run.function][0])
            rows = function(run, heart.say)
            runs.finish(run_id, owner, rows)
            return "done"
        except runs.LeaseLost:
            log.warning("run %s was taken over by another worker; nothing written", run_id)
            return "lost"
        except Refusal as refusal:
            runs.fail(run_id, owner, f"{refusal} [{refusal.code}]")
            return "refused"
        except (OperationalError, InterfaceError) as error:
            log.exception("the database was not to be had for run %s", run_id)
            return _wait(run, owner, error)
        except Exception as error:
            log.exception("run %s failed", run_id)
            runs.fail(run_id, owner, f"{type(error).__name__}: {error}")
            return "failed"
        except BaseException:  # told to stop in the middle: another worker begins again at once
            runs.let_go(owner, tried=False)
            raise


def _wait(run: Run, owner: str, error: Exception) -> str:
    """Leave a run to a later try: that the database was busy, full or away is no fault of what was asked."""
    if runs.let_go(owner):
        return "waits"
    runs.fail(run.pk, owner, f"The database was not to be had, {run.attempts} times over: {error}")
    return "failed"


class _Heart:
    """Beats for a worker that is busy in one long call, at most once in a third of the lease."""

    def __init__(self, run_id: int, owner: str) -> None:
        self.run_id, self.owner, self.progress, self.note = run_id, owner, 0.0, ""
        self.stop, self.begun = threading.Event(), time.monotonic()
        self.last = self.begun

    def __enter__(self) -> "_Heart":
        self.pulse = threading.Thread(target=self._go_on, daemon=True)
        if (
            not transaction.get_connection().in_atomic_block
        ):  # a test's open transaction belongs to its own thread
            self.pulse.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        if self.pulse.is_alive():
            self.pulse.join(timeout=5)

    def say(self, progress: float, note: str = "") -> None:
        """Tell how far the work is; written at most once a second."""
        self.progress, self.note = progress, note
        if time.monotonic() - self.last >= 1:
            self.last = time.monotonic()
            runs.beat(self.run_id, self.owner, progress, note)

    def _go_on(self) -> None:
        try:
            while not self.stop.wait(settings.WORK_LEASE_SECONDS / 3):
                if time.monotonic() - self.begun > settings.WORK_LONGEST_SECONDS:
                    self._give_up()
                try:
                    runs.beat(self.run_id, self.owner, self.progress, self.note)
                except DatabaseError:  # busy for once; two more beats fit into the lease
                    log.warning("a beat of run %s was not written", self.run_id, exc_info=True)
        except runs.LeaseLost:
            log.warning("lost the lease of run %s", self.run_id)
        finally:
            connection.close()

    def _give_up(self) -> None:
        """End a worker that is stuck: no thread can stop another, and the queue must go on."""
        minutes = settings.WORK_LONGEST_SECONDS / 60
        runs.fail(self.run_id, self.owner, f"It was not done after {minutes:.0f} minutes, and was ended.")
        os._exit(70)


def ring(run_id: int, *, behind: bool = False) -> None:
    """Ring for a worker, ``behind`` all others where the queue keeps an order. If nobody hears, the run
    waits and the reaper rings again."""
    try:
        ordered = behind and task_backends[work.backend].supports_priority
        (work.using(priority=BEHIND) if ordered else work).enqueue(run_id)
    except Exception:
        log.exception("could not ring for run %s; it waits", run_id)


def ring_on_commit(run: Run, *, behind: bool = False) -> None:
    """Ring once the deed that asked for the run is safely written; ``behind`` as in :func:`ring`."""
    if run.state == Run.State.QUEUED:
        transaction.on_commit(lambda: ring(run.pk, behind=behind))


def reap(now: dt.datetime | None = None) -> tuple[int, int]:
    """Take runs back from silent workers and ring for them; ring again where the doorbell was lost.

    Gives how many it rang for, and how many it gave up. Safe to call from several machines at once.
    """
    now = now or timezone.now()
    again, given_up = runs.take_back(now)
    if not _bells_hang():
        again += [run_id for run_id in runs.unheard(now) if run_id not in again]
    for run_id in again:
        ring(run_id)
    _forget_old_bells(now)
    sweep(now)
    return len(again), given_up


def _bells_hang() -> bool:
    """Tell whether the embedded queue still holds doorbells that nobody heard; then no more are hung up."""
    if not isinstance(task_backends[work.backend], DatabaseBackend):
        return False
    return DBTaskResult.objects.ready().exists()


def _forget_old_bells(now: dt.datetime) -> None:
    """Doorbells are no evidence: the run is. Those answered yesterday go.

    By when they were answered, not rung: a worker may be at one this moment that hung for days.
    """
    DBTaskResult.objects.exclude(status="READY").filter(started_at__lt=now - dt.timedelta(days=1)).delete()


def work_off(limit: int = 10_000) -> int:
    """Work off whatever waits, in this process, in order; give how many."""
    done = 0
    while done < limit:
        run_id = (
            Run.objects.filter(state=Run.State.QUEUED).order_by("pk").values_list("pk", flat=True).first()
        )
        if run_id is None:
            break
        work.func(run_id)
        done += 1
    return done
