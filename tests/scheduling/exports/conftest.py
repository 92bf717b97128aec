"""The clock of the export tests stands still on the town's Monday morning, as that of the API tests does."""

from tests.scheduling.api.conftest import clock

__all__ = ["clock"]
