"""Every error in one shape: RFC 9457, with a JSON Pointer (RFC 6901) and a sentence for each fault."""

import contextlib
import errno
import json
from typing import Any

import pytest
from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
)
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import DataError, IntegrityError, OperationalError, connection
from django.http import Http404
from django.test import Client as Browser
from django.test import override_settings
from rest_framework import exceptions
from rest_framework.test import APIClient

from accounts import errors
from accounts.http.faults import KeyReused, PreconditionFailed, StillRunning, header_fault, parameter_fault
from accounts.http.parsers import TooLarge
from accounts.http.problems import KINDS, problem_response
from accounts.models import Client, Company, Membership
from tests import factories

pytestmark = pytest.mark.interface

CLIENTS = "/api/v1/clients/"


def answer(error: Exception) -> Any:
    response = problem_response(error, {})
    assert response is not None
    assert response.content_type == "application/problem+json"
    assert set(response.data) >= {"type", "title", "status", "detail", "code", "errors"}
    assert response.data["status"] == response.status_code
    return response


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (errors.InvalidInput("bad_thing", "No."), 400, "bad_thing"),
        (errors.NotAllowed("not_yours", "No."), 403, "not_yours"),
        (errors.NotFound("no_such_thing", "No."), 404, "no_such_thing"),
        (errors.Conflict("taken", "No."), 409, "taken"),
        (errors.DomainError("other", "No."), 400, "other"),
        (exceptions.ValidationError({"name": ["No."]}), 400, "invalid"),
        (DjangoValidationError({"name": ["No."]}), 400, "invalid"),
        (DjangoValidationError("No."), 400, "invalid"),
        (exceptions.ParseError(), 400, "invalid"),
        (parameter_fault("page", "No."), 400, "invalid_request"),
        (header_fault("If-Match", "No."), 400, "invalid_request"),
        (exceptions.NotAuthenticated(), 401, "unauthenticated"),
        (exceptions.AuthenticationFailed(), 401, "unauthenticated"),
        (exceptions.PermissionDenied(), 403, "forbidden"),
        (PermissionDenied(), 403, "forbidden"),
        (Http404("No Client matches the given query."), 404, "not_found"),
        (exceptions.NotFound("There is no page 9."), 404, "not_found"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed"),
        (exceptions.NotAcceptable(), 406, "not_acceptable"),
        (StillRunning(), 409, "still_running"),
        (IntegrityError("something"), 409, "conflict"),
        (PreconditionFailed(), 412, "changed_since"),
        (TooLarge(), 413, "too_large"),
        (RequestDataTooBig(), 413, "too_large"),
        (TooManyFieldsSent(), 413, "too_large"),
        (exceptions.UnsupportedMediaType("text/plain"), 415, "unsupported_media_type"),
        (KeyReused("No."), 422, "idempotency_key_reused"),
        (exceptions.Throttled(wait=3), 429, "too_many_requests"),
        (OverflowError(), 400, "out_of_range"),
        (DataError(), 400, "out_of_range"),
        (SuspiciousOperation(), 400, "suspicious_request"),
        (OperationalError("database is locked"), 503, "busy"),
        (OSError(errno.ENOSPC, "No space left on device"), 503, "no_room"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else str(value),
)
def test_each_exception_has_its_status_and_code(error: Exception, status: int, code: str) -> None:
    response = answer(error)
    assert (response.status_code, response.data["code"]) == (status, code)
    assert response.data["type"] == f"/api/v1/problems/{KINDS[status][0]}/"
    assert response.data["detail"]
    assert "matches the given query" not in response.data["detail"]


@pytest.mark.parametrize("error", [ValueError("a slip"), KeyError("x"), OperationalError("no such table")])
def test_an_error_nobody_foresaw_is_not_dressed_up(error: Exception) -> None:
    assert problem_response(error, {}) is None


def fill(size: int) -> None:
    """Store pieces of a size until there is no room for one more."""
    with contextlib.suppress(OperationalError), connection.cursor() as cursor:
        while True:
            cursor.execute("INSERT INTO filling VALUES (zeroblob(%s))", [size])


def add_client(api: APIClient, name: str) -> Any:
    """With notes of more room than what the request itself may set free."""
    return api.post(CLIENTS, {"name": name, "notes": "x" * 200_000}, format="json")


@pytest.mark.django_db(transaction=True)  # a database that is full takes a whole transaction back
def test_a_database_without_room_says_so_and_takes_it_when_there_is_room(
    owner: Membership, as_owner: APIClient, company: Company
) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL is filled by `try_faults disk`")
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE filling (bytes BLOB)")
        cursor.execute("PRAGMA page_count")
        cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        try:
            # What earlier rows have left free is filled, in ever smaller pieces.
            for size in (100_000, 10_000, 1_000):
                fill(size)
            refused = add_client(as_owner, "Harbour Office")
        finally:
            cursor.execute("PRAGMA max_page_count = 1073741823")
            cursor.execute("DROP TABLE filling")
    assert refused.status_code == 503, refused.content
    assert (refused.json()["code"], refused.headers["Retry-After"]) == ("no_room", "60")
    assert "nothing of this was stored" in refused.json()["detail"]
    assert not Client.objects.filter(name="Harbour Office").exists()
    assert add_client(as_owner, "Harbour Office").status_code == 201


def test_waiting_times_are_in_the_headers() -> None:
    assert answer(exceptions.Throttled(wait=2.1)).headers["Retry-After"] == "3"
    assert answer(OperationalError("database is locked")).headers["Retry-After"] == "1"


def test_nested_faults_have_pointers_that_rfc_6901_would_write() -> None:
    detail = {
        "rows": [{}, {"a/b": ["One."], "m~n": ["Two.", "Three."]}],
        "non_field_errors": ["Four."],
        "site": {"non_field_errors": ["Five."]},
        "tags": {1: ["Six."]},
    }
    assert answer(exceptions.ValidationError(detail)).data["errors"] == [
        {"pointer": "/rows/1/a~1b", "detail": "One."},
        {"pointer": "/rows/1/m~0n", "detail": "Two."},
        {"pointer": "/rows/1/m~0n", "detail": "Three."},
        {"pointer": "", "detail": "Four."},
        {"pointer": "/site", "detail": "Five."},
        {"pointer": "/tags/1", "detail": "Six."},
    ]


def test_a_list_of_bodies_has_its_faults_by_place() -> None:
    detail = [{}, {"name": ["Missing."]}]
    assert answer(exceptions.ValidationError(detail)).data["errors"] == [{"pointer": "/1/name", "detail": "Missing."}]


def test_the_type_of_a_problem_leads_to_a_page_that_explains_it(db: None, api: APIClient) -> None:
    problem = api.get("/api/v1/me/").json()
    page = api.get(problem["type"])
    assert page.json() == {"kind": "unauthenticated", "status": 401, "meaning": KINDS[401][1]}
    assert len(api.get("/api/v1/problems/").json()) == len(KINDS)
    assert api.get("/api/v1/problems/no-such-kind/").status_code == 404


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        (b"", "This is missing"),
        (b"{", "not JSON"),
        (b"nonsense", "not JSON"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b'{"name": NaN}', "NaN is not a number"),
        (b'{"name": Infinity}', "Infinity is not a number"),
        (b'{"name": 1e999}', "too large"),
        (b'{"name": ' + b"9" * 5000 + b"}", "too large"),
        (b'{"name": "a", "name": "b"}', "appears twice"),
        (b'{"name": "a\\u0000b"}', "cannot be stored"),
        (b'{"name": "\\ud800"}', "cannot be stored"),
        (b'{"\\ud800": 1}', "cannot be stored"),
        (b'{"name": "\x01"}', "not JSON"),
        (b"[" * 100_000, "nested"),
        (b'{"a":' * 60 + b"1" + b"}" * 60, "cannot be stored"),
        (b"null", ""),
        (b"[]", "send an object"),
        (b'"text"', "send an object"),
        (b"1", "send an object"),
        (b"true", "send an object"),
    ],
)
def test_a_body_that_cannot_be_read_is_refused_with_a_sentence(
    as_office: APIClient, body: bytes, sentence: str
) -> None:
    response = as_office.generic("POST", CLIENTS, body, content_type="application/json")
    assert response.status_code == 400, response.content
    assert response.headers["Content-Type"] == "application/problem+json"
    assert sentence in json.dumps(response.json())
    assert not Client.objects.exists()


def test_a_null_character_is_pointed_at(as_office: APIClient) -> None:
    response = as_office.post(CLIENTS, {"name": "a", "notes": "b\x00"})
    assert response.json()["errors"] == [{"pointer": "/notes", "detail": "This holds a null character; leave it out."}]


@override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=1000)
def test_a_body_that_is_too_long_is_refused(as_office: APIClient) -> None:
    response = as_office.post(CLIENTS, {"name": "a", "notes": "b" * 1000})
    assert (response.status_code, response.json()["code"]) == (413, "too_large")


def test_a_body_of_more_values_than_anybody_has_is_not_read(as_office: APIClient) -> None:
    """Six million empty objects are 18 MB, and were two minutes of work."""
    body = f"[{'{},' * 2_000_001}{{}}]"
    response = as_office.generic("POST", "/api/v1/readings/", body, content_type="application/json")
    assert (response.status_code, response.json()["code"]) == (413, "too_large")
    assert "2000000 values" in response.json()["detail"]


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "", "a", "text/json"]
)
def test_a_body_in_another_media_type_is_refused(as_office: APIClient, kind: str) -> None:
    response = as_office.generic("POST", CLIENTS, b"name=a", content_type=kind)
    assert response.status_code == 415, response.content
    assert response.headers["Content-Type"] == "application/problem+json"


def test_a_form_without_its_boundary_is_refused(as_office: APIClient) -> None:
    for kind in ("multipart/form-data", "multipart/form-data; boundary=\xff"):
        response = as_office.generic("POST", "/api/v1/readings/upload/", b"name=a", content_type=kind)
        assert response.status_code == 400
        assert response.headers["Content-Type"] == "application/problem+json"


def test_an_answer_in_another_media_type_is_not_to_be_had(as_office: APIClient) -> None:
    response = as_office.get(CLIENTS, headers={"Accept": "text/html"})
    assert response.status_code == 406
    assert response.headers["Content-Type"] == "application/problem+json"


def test_a_method_that_is_not_there_names_those_that_are(as_office: APIClient) -> None:
    response = as_office.put(CLIENTS, {})
    assert response.status_code == 405
    assert set(response.headers["Allow"].split(", ")) == {"GET", "HEAD", "POST"}


@pytest.mark.parametrize("pk", ["0", "999999999999999999", "9" * 19, "9" * 5000, "-1", "1.5", "abc", "%00", "%ff", "٣"])
def test_an_id_that_cannot_be_is_not_found(as_office: APIClient, pk: str) -> None:
    response = as_office.get(f"{CLIENTS}{pk}/")
    assert response.status_code == 404
    assert response.headers["Content-Type"] == "application/problem+json"


def test_a_body_of_another_kind_is_told_what_is_read(as_office: APIClient) -> None:
    refused = as_office.generic("POST", CLIENTS, b"<name>Harbour</name>", content_type="text/xml; charset=utf-8")
    assert (refused.status_code, refused.json()["detail"]) == (
        415,
        "A body of the media type 'text/xml' is not read here; send application/json.",
    )


@pytest.mark.django_db
def test_an_address_that_is_not_there_answers_in_the_same_shape() -> None:
    browser = Browser(raise_request_exception=False)
    for path in ("/nothing/", "/api/v1/nothing/", "/api/v2/clients/"):
        response = browser.get(path)
        assert response.status_code == 404
        assert response.headers["Content-Type"] == "application/problem+json"
        assert response.json()["code"] == "not_found"
    response = browser.get("/api/v1/me/", headers={"Host": "elsewhere.example"})
    assert response.status_code == 400
    assert response.json()["status"] == 400


def test_an_address_without_its_last_slash_is_named_with_it(as_office: APIClient) -> None:
    for response in (as_office.post("/api/v1/clients", {"name": "A"}), as_office.get("/api/v1/clients")):
        assert response.status_code == 404
        assert response.json()["detail"] == "Addresses here end in a slash: /api/v1/clients/"
    assert not Client.objects.exists()


def test_a_slip_of_the_server_is_a_problem_too(
    as_office: APIClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def slip(*args: object, **kwargs: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("accounts.http.viewsets.etag_of_bytes", slip)
    as_office.raise_request_exception = False
    response = as_office.post(CLIENTS, {"name": "a"})
    assert response.status_code == 500
    assert response.headers["Content-Type"] == "application/problem+json"
    assert "ZeroDivisionError" in caplog.text
    assert not Client.objects.exists()


def test_a_row_that_others_need_is_kept_and_they_are_named(as_office: APIClient, first_client: Client) -> None:
    site = factories.SiteFactory(client=first_client, name="Harbour")
    response = as_office.delete(f"{CLIENTS}{first_client.pk}/")
    assert response.status_code == 409
    problem = response.json()
    assert problem["code"] == "in_use"
    assert problem["dependants"] == [{"kind": "site", "id": str(site.pk), "name": str(site)}]
    assert Client.objects.filter(pk=first_client.pk).exists()


def test_a_client_whose_people_sign_in_is_kept(as_office: APIClient, client_member: Membership) -> None:
    response = as_office.delete(f"{CLIENTS}{client_member.client_id}/")
    assert (response.status_code, response.json()["code"]) == (409, "in_use")
    assert [row["kind"] for row in response.json()["dependants"]] == ["membership"]
    client_member.refresh_from_db()


def test_a_name_that_is_taken_is_a_conflict_at_that_field(as_office: APIClient, first_client: Client) -> None:
    response = as_office.post(CLIENTS, {"name": first_client.name})
    assert response.status_code == 409
    assert response.json()["errors"] == [{"pointer": "/name", "detail": "There is already a client with this name."}]
    assert response.json()["code"] == "one_client_of_a_name"


def test_the_same_name_in_another_company_is_nobodys_business(as_office: APIClient) -> None:
    foreign = factories.ClientFactory(name="Reef Room")
    assert as_office.post(CLIENTS, {"name": foreign.name}).status_code == 201


@pytest.mark.django_db
def test_a_rule_of_the_database_is_said_in_words(owner: Membership) -> None:
    with pytest.raises(IntegrityError) as caught:
        Membership.objects.filter(pk=owner.pk).update(role="client")
    response = answer(caught.value)
    assert response.status_code == 409
    assert response.data["code"] == "a_client_membership_names_its_client"
    assert response.data["detail"] == "This breaks a rule of every membership: a client membership names its client."


def test_every_fault_of_a_body_is_named_at_once(as_office: APIClient) -> None:
    body = {"nam": "x", "email": "not an address", "created_at": "2026-01-01T00:00:00Z"}
    faults = {fault["pointer"]: fault["detail"] for fault in as_office.post(CLIENTS, body).json()["errors"]}
    assert set(faults) == {"/nam", "/name", "/email", "/created_at"}
    assert faults["/nam"] == "There is no such field; the fields to send are: name, email, phone, notes."
    assert faults["/created_at"].startswith("The server sets this field")
