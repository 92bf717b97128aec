from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "Units, readings, forecasts"

    def ready(self) -> None:
        """Make the kinds of jobs known to whatever process this is."""
        from fleet import tasks  # noqa: F401
