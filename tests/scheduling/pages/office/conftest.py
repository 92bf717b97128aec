"""The town on its Monday morning, and the office at its desk."""

from typing import Any

import pytest

from accounts.models import Membership
from tests.pages import signed_in
from tests.scheduling.api.conftest import ada, clock

__all__ = ["ada", "clock"]


@pytest.fixture
def desk(office: Membership) -> Any:
    """A browser in which the office is signed in."""
    return signed_in(office)


@pytest.fixture
def owners_desk(owner: Membership) -> Any:
    """A browser in which the owner is signed in."""
    return signed_in(owner)
