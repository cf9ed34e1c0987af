"""The doorbell of a larger laboratory: runs are rung for through Celery, by settings alone.

``TEARDOWN_TASKS_BACKEND=teardown.site.celery.CeleryBackend`` and ``TEARDOWN_BROKER=redis://...`` (amqp://...).
Start workers with ``celery -A teardown.site.celery worker`` on as many machines as you like; ``serve`` starts
its own. The broker only carries bells: which run is whose stands in the database, so that a lost or doubled
bell is harmless.
"""

import os
from typing import Any

from celery import Celery
from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks.backends.base import BaseTaskBackend
from django_tasks.base import Task, TaskResult, TaskResultStatus
from django_tasks.signals import task_enqueued

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "teardown.site.settings")
app = Celery(
    "teardown",
    broker=os.environ.get("TEARDOWN_BROKER", "redis://127.0.0.1:6379/0"),
)
app.conf.update(
    task_acks_late=True,  # a bell is put down when its run is over; a second one finds it done
    task_reject_on_worker_lost=True,
    task_ignore_result=True,
    worker_prefetch_multiplier=1,
    broker_connection_retry_on_startup=True,
)


@app.task(name="teardown.hear")  # type: ignore[untyped-decorator]
def hear(path: str, args: list[Any], kwargs: dict[str, Any]) -> None:
    """Do what a bell asks for."""
    import_string(path).func(*args, **kwargs)


class CeleryBackend(BaseTaskBackend):
    """Rings through Celery. Never delays: waiting is the reaper's business."""

    def enqueue(self, task: Task[Any, Any], args: Any, kwargs: Any) -> TaskResult[Any]:
        """Ring."""
        self.validate_task(task)
        sent = hear.apply_async(args=[task.module_path, list(args), dict(kwargs)], retry=False)
        result: TaskResult[Any] = TaskResult(
            task=task,
            id=sent.id,
            status=TaskResultStatus.READY,
            enqueued_at=timezone.now(),
            started_at=None,
            last_attempted_at=None,
            finished_at=None,
            args=list(args),
            kwargs=dict(kwargs),
            backend=self.alias,
            errors=[],
            worker_ids=[],
        )
        task_enqueued.send(type(self), task_result=result)
        return result
