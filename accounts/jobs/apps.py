from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "accounts.jobs"
    verbose_name = "Long work that people can watch"

    def ready(self) -> None:
        """Name what is put on the queue, and what is taken from it, after the request that asked for it."""
        from accounts.observing import tasks  # noqa: F401
