from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "Units, readings, forecasts"

    def ready(self) -> None:
        """Make the kinds of jobs, and what follows a change of a company, known to whatever process this is."""
        from accounts.services.companies import subscribe
        from fleet import tasks  # noqa: F401
        from fleet.services.company import follow

        subscribe("units", follow)
