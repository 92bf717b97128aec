"""What every test can ask for."""

from hypothesis import settings

pytest_plugins = ["tests.cast"]

# The same examples in every run, and no deadline: how long an example takes says nothing about whether it is right.
settings.register_profile("suite", deadline=None, derandomize=True)
settings.load_profile("suite")
