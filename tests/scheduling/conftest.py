"""The town of the scheduling tests, in the company of the cast."""

import pytest

from accounts.models import Company
from tests.scheduling.town import Town


@pytest.fixture
def town(company: Company) -> Town:
    company.time_zone = "Europe/Berlin"
    company.save()
    return Town(company)
