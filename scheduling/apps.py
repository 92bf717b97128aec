from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    verbose_name = "Visits, rounds, parts"
