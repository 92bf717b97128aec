from collections.abc import Iterator
from typing import Any

import pytest

from tests.accounts.webhooks.receiver import Receiver, running_receiver


@pytest.fixture
def receiver(settings: Any) -> Iterator[Receiver]:
    """A receiver that the server's settings open for development."""
    with running_receiver() as running:
        settings.WEBHOOK_LOCAL_HOSTS = [running.host]
        yield running
