"""What every test can ask for."""

import pytest
from hypothesis import settings

pytest_plugins = ["tests.cast"]

# The same examples in every run, and no deadline: how long an example takes says nothing about whether it is right.
settings.register_profile("suite", deadline=None, derandomize=True)
settings.load_profile("suite")


# Before the marks are asked for by -m.
@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what touches the database, so that a run on another database need not repeat the rest."""
    for item in items:
        if {"db", "transactional_db"} & set(getattr(item, "fixturenames", ())) or item.get_closest_marker("django_db"):
            item.add_marker("database")
