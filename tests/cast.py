"""The cast: the same named people in every test, and a client of the API for each.

North Water is the company of the story; its people are `owner`, `office`, `installer`, `client_member` (customer
`first_client`) and `other_client_member` (customer `second_client`). `rival` owns South Water, another company.
`stranger` has no token. All are invented.

`api` is the stranger's client; `as_owner`, `as_office`, `as_installer`, `as_client`, `as_other_client` and `as_rival`
are signed in by token. `api_for(membership)` makes one for anybody else.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from rest_framework.test import APIClient

from accounts.models import AccessToken, Client, Company, Membership
from accounts.services import issue_token
from tests import factories

ApiFor = Callable[..., APIClient]


@pytest.fixture
def company(db: None) -> Company:
    return factories.CompanyFactory(name="North Water")


@pytest.fixture
def owner(company: Company) -> Membership:
    return factories.MembershipFactory(company=company, role="owner", user__email="olga@north.example")


@pytest.fixture
def office(company: Company) -> Membership:
    return factories.MembershipFactory(company=company, role="office", user__email="ofer@north.example")


@pytest.fixture
def installer(company: Company) -> Membership:
    return factories.MembershipFactory(company=company, role="installer", user__email="ines@north.example")


@pytest.fixture
def first_client(company: Company) -> Client:
    return factories.ClientFactory(company=company, name="First Client")


@pytest.fixture
def second_client(company: Company) -> Client:
    return factories.ClientFactory(company=company, name="Second Client")


@pytest.fixture
def client_member(first_client: Client) -> Membership:
    return factories.MembershipFactory(
        company=first_client.company, role="client", client=first_client, user__email="clara@first.example"
    )


@pytest.fixture
def other_client_member(second_client: Client) -> Membership:
    return factories.MembershipFactory(
        company=second_client.company, role="client", client=second_client, user__email="carl@second.example"
    )


@pytest.fixture
def rival_company(db: None) -> Company:
    return factories.CompanyFactory(name="South Water")


@pytest.fixture
def rival(rival_company: Company) -> Membership:
    return factories.MembershipFactory(company=rival_company, role="owner", user__email="rita@south.example")


@pytest.fixture
def api() -> APIClient:
    """The stranger's client."""
    return APIClient()


@pytest.fixture
def api_for(db: None) -> ApiFor:
    """Make an API client that acts for a membership by token; with `meter_unit_id`, as that unit's meter."""

    def make(membership: Membership, *, meter_unit_id: int | None = None) -> APIClient:
        now = datetime.now(UTC)
        token, secret = issue_token(
            by=membership,
            membership=membership,
            name="test",
            ttl=timedelta(hours=1),
            meter_unit_id=meter_unit_id,
            now=now,
        )
        # Made by a sign-in a moment ago, and noted as used: so the first request makes as many queries as the next.
        AccessToken.objects.filter(pk=token.pk).update(last_used_at=now, authenticated_at=now)
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        return client

    return make


@pytest.fixture
def as_owner(api_for: ApiFor, owner: Membership) -> APIClient:
    return api_for(owner)


@pytest.fixture
def as_office(api_for: ApiFor, office: Membership) -> APIClient:
    return api_for(office)


@pytest.fixture
def as_installer(api_for: ApiFor, installer: Membership) -> APIClient:
    return api_for(installer)


@pytest.fixture
def as_client(api_for: ApiFor, client_member: Membership) -> APIClient:
    return api_for(client_member)


@pytest.fixture
def as_other_client(api_for: ApiFor, other_client_member: Membership) -> APIClient:
    return api_for(other_client_member)


@pytest.fixture
def as_rival(api_for: ApiFor, rival: Membership) -> APIClient:
    return api_for(rival)
