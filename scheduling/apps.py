from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    verbose_name = "Visits, rounds, parts"

    def ready(self) -> None:
        """Make the kinds of jobs, and what follows a change, known to whatever process this is."""
        from fleet.services.consequences import subscribe
        from scheduling import tasks  # noqa: F401
        from scheduling.services.consequences import follow

        subscribe("needs", follow)
