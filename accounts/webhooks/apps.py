from django.apps import AppConfig


class WebhooksConfig(AppConfig):
    name = "accounts.webhooks"
    verbose_name = "Events out"
