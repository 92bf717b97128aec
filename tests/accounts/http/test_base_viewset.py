"""The base of every viewset keeps its promises whoever builds on it."""

from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.core.exceptions import ImproperlyConfigured
from rest_framework.test import APIClient, APIRequestFactory, force_authenticate

from accounts.api.clients import ClientSerializer, ClientViewSet
from accounts.http.viewsets import ReadWriteViewSet, TenantViewSet
from accounts.models import AuditEntry, Client, Membership
from tests import factories


def test_a_viewset_that_declares_no_resource_does_not_start() -> None:
    with pytest.raises(ImproperlyConfigured, match="declares no resource"):

        class Nameless(ReadWriteViewSet):
            queryset = Client.objects.all()


def test_a_viewset_with_an_action_that_is_not_in_the_table_does_not_start() -> None:
    class Walk(TenantViewSet):
        resource = "client"
        queryset = Client.objects.all()

    with pytest.raises(ImproperlyConfigured, match=r"has no row \('client', 'walk'\)"):
        Walk.as_view({"post": "walk"})


def test_a_resource_that_is_not_in_the_table_does_not_start() -> None:
    class Walk(ReadWriteViewSet):
        resource = "dog"
        queryset = Client.objects.all()

    with pytest.raises(ImproperlyConfigured, match=r"has no row \('dog', 'list'\)"):
        Walk.as_view({"get": "list"})


def test_rows_that_are_no_tenants_are_not_served(owner: Membership) -> None:
    class Groups(ReadWriteViewSet):
        resource = "client"
        queryset: Any = Group.objects.all()
        serializer_class = ClientSerializer

    request = APIRequestFactory().get("/")
    force_authenticate(request, owner.user)
    view = Groups()
    view.request = type("Request", (), {"membership": owner})()
    with pytest.raises(ImproperlyConfigured, match="not a tenant's"):
        view.get_queryset()


# Behind the second wall PostgreSQL refuses such a row before anybody looks for it.
@pytest.mark.interface
def test_a_row_written_out_of_ones_own_sight_is_taken_back(
    as_office: APIClient, first_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = factories.CompanyFactory()

    def give_away(view: Any, serializer: Any) -> Client:
        serializer.instance.company = elsewhere
        serializer.instance.save()
        return serializer.instance

    monkeypatch.setattr(ClientViewSet, "perform_update", give_away)
    answer = as_office.patch(f"/api/v1/clients/{first_client.pk}/", {"phone": "1"})
    assert answer.status_code == 404
    assert Client.objects.get(pk=first_client.pk).company == first_client.company


def test_what_is_created_belongs_to_ones_own_company_and_is_on_record(as_office: APIClient, office: Membership) -> None:
    foreign = factories.CompanyFactory()
    refused = as_office.post("/api/v1/clients/", {"name": "A", "company": foreign.pk})
    assert refused.status_code == 400
    created = as_office.post("/api/v1/clients/", {"name": "A"})
    client = Client.objects.get()
    assert (client.pk, client.company) == (created.json()["id"], office.company)
    entry = AuditEntry.objects.get(action="create client")
    assert (entry.membership, entry.subject_kind, entry.subject_id) == (office, "client", str(client.pk))


def test_a_change_is_on_record_by_the_names_of_its_fields(as_office: APIClient, first_client: Client) -> None:
    as_office.patch(f"/api/v1/clients/{first_client.pk}/", {"phone": "1", "email": "a@b.example"})
    assert AuditEntry.objects.get(action="update client").details["fields"] == ["email", "phone"]


def test_a_change_of_nothing_leaves_no_trace(as_office: APIClient, first_client: Client) -> None:
    assert as_office.patch(f"/api/v1/clients/{first_client.pk}/", {}).status_code == 200
    assert not AuditEntry.objects.filter(action="update client").exists()


def test_a_signed_in_person_without_a_company_is_told_so(db: None) -> None:
    user = factories.UserFactory()
    api = APIClient()
    api.force_login(user)
    answer = api.get("/api/v1/me/")
    assert answer.status_code == 403
    assert "act for no company" in answer.json()["detail"]
