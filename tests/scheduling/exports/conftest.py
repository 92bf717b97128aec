"""The clock of the export tests stands still on the town's Monday morning, as that of the API tests does."""

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from tests.scheduling.api.conftest import clock

__all__ = ["clock"]


@pytest.fixture
def as_installer(as_installer: APIClient, company: Company) -> APIClient:
    """An installer of a company that lets installers read every round; whose they read else has tests of its own."""
    company.installers_see = Company.InstallersSee.ALL
    company.save()
    return as_installer
