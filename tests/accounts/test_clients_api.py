"""Clients over the API: the ordinary life of a row, which stands for every viewset built on the same base."""

from rest_framework.test import APIClient

from accounts.models import AuditEntry, Client
from tests import factories


def test_office_adds_reads_changes_and_deletes_a_client(as_office: APIClient) -> None:
    created = as_office.post("/api/v1/clients/", {"name": "Reef Room"})
    assert created.status_code == 201, created.content
    address = created.headers["Location"]
    assert address == f"/api/v1/clients/{created.json()['id']}/"
    read = as_office.get(address)
    assert read.json() == created.json()
    assert read.headers["ETag"] == created.headers["ETag"]
    changed = as_office.patch(address, {"phone": "555 0100"}, headers={"If-Match": read.headers["ETag"]})
    assert changed.status_code == 200
    assert changed.json()["phone"] == "555 0100"
    assert changed.headers["ETag"] != read.headers["ETag"]
    assert as_office.delete(address).status_code == 204
    assert not Client.objects.exists()
    assert list(AuditEntry.objects.order_by("pk").values_list("action", flat=True))[-3:] == [
        "create client",
        "update client",
        "delete client",
    ]


def test_another_companys_client_and_an_absent_one_answer_alike(as_office: APIClient) -> None:
    foreign = factories.ClientFactory()
    as_office.defaults["HTTP_X_REQUEST_ID"] = "one-and-the-same"  # the answer names its request
    answers = [
        getattr(as_office, method)(f"/api/v1/clients/{pk}/", {"name": "x"} if method == "patch" else None)
        for method in ("get", "patch", "delete")
        for pk in (foreign.pk, foreign.pk + 1000)
    ]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert answers[0].headers["Content-Type"] == "application/problem+json"
    assert Client.objects.get().name == foreign.name
