"""The clock of the API tests stands still on the town's Monday morning."""

from collections.abc import Iterator

import pytest
import time_machine

from accounts.models import Membership
from scheduling.models import Installer
from tests.scheduling.town import NOW, Town


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def ada(town: Town, installer: Membership) -> Installer:
    """The installer of the cast, with a van."""
    return town.installer("Ada", membership=installer)
