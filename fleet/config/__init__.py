"""The composition root: settings, routes, the Celery application. Nobody imports it."""

from fleet.config.celery import app as celery_app

# Tasks bind to the application that was made last; loading it with the settings makes every process use this one.
__all__ = ["celery_app"]
