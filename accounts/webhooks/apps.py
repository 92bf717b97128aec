from django.apps import AppConfig


class WebhooksConfig(AppConfig):
    name = "accounts.webhooks"
    verbose_name = "Events out"

    def ready(self) -> None:
        """Make known what waits here."""
        from accounts.observing.installation import measure_with
        from accounts.webhooks.measures import deliveries

        measure_with(deliveries)
