from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "accounts.jobs"
    verbose_name = "Long work that people can watch"
