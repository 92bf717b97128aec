"""The Celery application; workers start with `celery -A fleet.config.celery worker`."""

import os

from celery import Celery
from celery.schedules import crontab

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["accounts", "accounts.jobs", "accounts.webhooks", "fleet", "scheduling"])
app.conf.beat_schedule = {
    # After the last meter of the day has posted and before the first installer looks at the day sheet.
    "nightly": {"task": "scheduling.tasks.nightly", "schedule": crontab(hour="2", minute="15")},
    "digests": {"task": "scheduling.tasks.digests", "schedule": crontab(minute="*/15")},
    "messages": {"task": "scheduling.tasks.send_waiting_messages", "schedule": crontab(minute="*")},
    "letters": {"task": "accounts.tasks.send_letters", "schedule": crontab(minute="*")},
    "webhooks": {"task": "accounts.webhooks.tasks.send_webhooks", "schedule": crontab(minute="*")},
    # What a dead worker held is handed out again long before the queue itself would miss it.
    "resume stalled jobs": {"task": "accounts.jobs.tasks.resume_stalled_jobs", "schedule": crontab(minute="*/5")},
}
