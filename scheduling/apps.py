from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    verbose_name = "Visits, rounds, parts"

    def ready(self) -> None:
        """Make the kinds of jobs known to whatever process this is."""
        from scheduling import tasks  # noqa: F401
