"""What a fresh process does first; nothing here may need the project's settings to be imported."""

from collections.abc import Mapping
from typing import Any


def begin(database: Mapping[str, Any]) -> None:
    """Make a fresh process ready: the project's settings, and the database of the process that asked."""
    import django

    django.setup()
    from django.db import connection

    connection.settings_dict.update(database)
