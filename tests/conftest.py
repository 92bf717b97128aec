"""What every test can ask for."""

pytest_plugins = ["tests.cast"]
