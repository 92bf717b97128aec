"""The Celery application; workers start with `celery -A fleet.config.celery worker`."""

import os
from logging.config import dictConfig
from typing import Any

from celery import Celery, signals
from celery.schedules import crontab
from kombu import Queue

from accounts.jobs import queue
from fleet.config import garbage

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["accounts", "accounts.jobs", "accounts.webhooks", "fleet", "scheduling"])
# What an earlier release has put on its one queue is done all the same.
app.conf.task_queues = [Queue(name) for name in (*queue.QUEUES, "celery")]
app.conf.task_default_queue = queue.UPKEEP
app.conf.task_routes = {
    "fleet.tasks.follow_up": {"queue": queue.FOLLOW_UP},
    "accounts.jobs.tasks.run_job_chunk": {"queue": queue.JOBS},
    "scheduling.tasks.nightly": {"queue": queue.NIGHT},
    "scheduling.tasks.start_company_nightly": {"queue": queue.NIGHT},
}
app.conf.beat_schedule = {
    # After the last meter of the day has posted and before the first installer looks at the day sheet.
    "nightly": {"task": "scheduling.tasks.nightly", "schedule": crontab(hour="2", minute="15")},
    "digests": {"task": "scheduling.tasks.digests", "schedule": crontab(minute="*/15")},
    "messages": {"task": "scheduling.tasks.send_waiting_messages", "schedule": crontab(minute="*")},
    "letters": {"task": "accounts.tasks.send_letters", "schedule": crontab(minute="*")},
    "webhooks": {"task": "accounts.webhooks.tasks.send_webhooks", "schedule": crontab(minute="*")},
    # What a dead worker held is handed out again long before the queue itself would miss it.
    "resume stalled jobs": {"task": "accounts.jobs.tasks.resume_stalled_jobs", "schedule": crontab(minute="*")},
}


@signals.worker_process_init.connect
def collect_garbage_less_often(**_: Any) -> None:
    """A night makes rows and curves by the ten thousand, and nearly none of them in rings."""
    garbage.collect_less_often()
    garbage.keep_what_stands()


@signals.setup_logging.connect
def log_as_set(**_: Any) -> None:
    """A worker logs as the settings say, like every other process: in their form, without the secrets of links."""
    from django.conf import settings

    dictConfig(settings.LOGGING)
