from django.apps import AppConfig
from django.conf import settings

from accounts.language import speak_in_process


class AccountsConfig(AppConfig):
    name = "accounts"
    verbose_name = "Companies, people and what they may see"

    def ready(self) -> None:
        """Speak the language of this server, in whatever process this is."""
        speak_in_process(settings.LANGUAGE_CODE, settings.LOCALE_DIR)
