"""Every field of every answer is read by the roles that the table of fields names, and by nobody else.

The first tests walk the description of the interface, so that a new field without a decision fails; the others walk
real answers, so that what the table says is what people get.
"""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from accounts.fields_seen import READERS
from accounts.http.filters import filter_columns
from accounts.http.permissions import action_name
from accounts.http.serializers import FieldsByRole
from accounts.models import Client, Company
from accounts.permissions import EVERYONE, Role, roles_for
from tests import factories
from tests.routes import Route, every_route
from tests.rows import make_row

pytestmark = pytest.mark.interface

ROUTES = [route for route in every_route() if getattr(route.view_class, "resource", None)]
#: Words in a field's name that call for a decision, whoever reads the kind.
INTERNAL = re.compile(r"note|reason|trouble|error|cost|price|margin|remark|comment|internal|secret|password")


def open_to(role: Role) -> list[Route]:
    return [route for route in ROUTES if role in roles_for(route.view_class.resource, action_name(route.action or ""))]


@cache
def description() -> Any:
    with GENERATOR_STATS.silence():
        return SchemaGenerator().get_schema(request=None, public=True)


@cache
def serializers_by_kind() -> dict[str, list[type[FieldsByRole]]]:
    serializers_of_name: dict[str, list[type[FieldsByRole]]] = {}
    waiting: list[Any] = [FieldsByRole]
    while waiting:
        for one in waiting.pop().__subclasses__():
            serializers_of_name.setdefault(one.__name__.removesuffix("Serializer"), []).append(one)
            waiting.append(one)
    return serializers_of_name


def kinds_of(kind: str) -> list[str]:
    """The kind and those it extends."""
    return next((list(one.kinds()) for one in serializers_by_kind().get(kind, [])), [kind])


def row_of(kind: str, field: str) -> Any:
    return next((READERS[one, field] for one in kinds_of(kind) if (one, field) in READERS), None)


def is_quantity(described: Any) -> bool:
    return "schemas/Quantity'" in str(described)


def answers_of(route: Route) -> Iterator[Any]:
    operation = description()["paths"][route.path.replace("<pk>", "{id}")][route.method.lower()]
    for status, answer in operation["responses"].items():
        if status.startswith("2"):
            for content in answer.get("content", {}).values():
                yield content.get("schema", {})


def fields_described(schema: Any, kind: str, role: Role, done: set[str]) -> Iterator[tuple[str, str, Any]]:
    """Walk what a role can be answered: kind, field and its description, not below what the role does not read."""
    if "$ref" in schema:
        kind = schema["$ref"].rsplit("/", 1)[-1]
        if kind in done:
            return
        done.add(kind)
        schema = description()["components"]["schemas"][kind]
    for part in [*schema.get("allOf", ()), *schema.get("anyOf", ()), *schema.get("oneOf", ())]:
        yield from fields_described(part, kind, role, done)
    for part in ("items", "additionalProperties"):
        if isinstance(schema.get(part), dict):
            yield from fields_described(schema[part], kind, role, done)
    for name, of_field in schema.get("properties", {}).items():
        yield kind, name, of_field
        roles = row_of(kind, name)
        if roles is None or role in roles:
            yield from fields_described(of_field, kind, role, done)


def every_field(role: Role) -> list[tuple[str, str, Any]]:
    done: set[str] = set()
    return [
        field
        for route in open_to(role)
        for schema in answers_of(route)
        for field in fields_described(schema, "", role, done)
        # Pages of lists and quantities are the machinery's own; what has no kind is an export, which is for staff.
        if not re.fullmatch(r"|Paginated\w+|Quantity", field[0])
    ]


def test_somebody_has_decided_on_every_field_that_clients_can_be_answered() -> None:
    fields = every_field(Role.CLIENT)
    assert len(fields) > 200
    undecided = {f"{kind}.{name}" for kind, name, of in fields if row_of(kind, name) is None and not is_quantity(of)}
    assert not undecided, "name them in accounts/fields_seen.py"


def test_somebody_has_decided_on_every_field_of_an_internal_name_that_installers_can_be_answered() -> None:
    fields = every_field(Role.INSTALLER)
    assert len(fields) > 400
    undecided = sorted(
        {f"{kind}.{name}" for kind, name, of in fields if INTERNAL.search(name) and row_of(kind, name) is None}
    )
    assert not undecided, "name them in accounts/fields_seen.py"


def test_every_row_of_the_table_speaks_of_a_field_there_is() -> None:
    for kind, field in READERS:
        classes = serializers_by_kind().get(kind, [])
        assert any(field in one(context={}).fields for one in classes), f"{kind}.{field}"  # type: ignore[call-arg]


def test_the_description_says_who_reads_a_field_that_some_do_not() -> None:
    schemas = description()["components"]["schemas"]
    visit, finding, absence = schemas["Visit"], schemas["Finding"], schemas["Absence"]
    for schema, field, words in (
        (visit, "planned", "Absent unless your role is owner, office or installer."),
        (finding, "decision_note", "Absent unless your role is owner, office or installer."),
        (absence, "reason", "Absent unless your role is owner or office."),
    ):
        assert words in schema["properties"][field]["description"]
        assert field not in schema["required"]
    assert "state" in visit["required"]


# Real answers


def hidden_in(answer: Any, schema: Any, kind: str, role: Role) -> Iterator[str]:
    """Find what stands in an answer although the role does not read it, and what is missing although it does."""
    if "$ref" in schema:
        kind = schema["$ref"].rsplit("/", 1)[-1]
        schema = description()["components"]["schemas"][kind]
    for part in [*schema.get("allOf", ()), *schema.get("anyOf", ()), *schema.get("oneOf", ())]:
        yield from hidden_in(answer, part, kind, role)
    if isinstance(answer, list):
        for row in answer:
            yield from hidden_in(row, schema.get("items", {}), kind, role)
    if not isinstance(answer, dict):
        return
    properties = schema.get("properties", {})
    further = schema.get("additionalProperties")
    for name, value in answer.items():
        roles = row_of(kind, name) if name in properties else None
        if roles is not None and role not in roles:
            yield f"{kind}.{name} is answered"
        yield from hidden_in(value, properties.get(name, further if isinstance(further, dict) else {}), kind, role)
    for name in properties:
        roles = row_of(kind, name)
        if roles not in (None, EVERYONE) and role in roles and name not in answer and name in always(kind):
            yield f"{kind}.{name} is missing"


@cache
def always(kind: str) -> frozenset[str]:
    """The fields of a kind that stand in every answer to whoever reads them."""
    return frozenset(
        name
        for one in serializers_by_kind().get(kind, [])
        for name, field in one(context={}).fields.items()  # type: ignore[call-arg]
        if field.required or field.read_only
    ) - {"needs", "note"}


READS = [route for route in open_to(Role.INSTALLER) if route.action in ("list", "retrieve")]


@pytest.mark.parametrize("route", READS, ids=str)
def test_an_answer_holds_what_the_table_says_and_no_more(
    route: Route, as_client: APIClient, as_installer: APIClient, company: Company, first_client: Client
) -> None:
    model = route.view_class.queryset.model
    row = make_row(model, company=company, client=first_client)
    path = route.path.replace("<pk>", str(row.pk))
    for role, api in ((Role.CLIENT, as_client), (Role.INSTALLER, as_installer)):
        if role not in roles_for(route.view_class.resource, action_name(route.action or "")):
            continue
        answer = api.get(path)
        if answer.status_code == 404:
            continue
        assert answer.status_code == 200, answer.content
        for schema in answers_of(route):
            assert list(hidden_in(answer.json(), schema, "", role)) == []


CLIENT_LISTS = [route for route in open_to(Role.CLIENT) if route.action == "list"]
#: Parameters and orders that are named otherwise than the fields they ask about, all of which clients read.
OTHER_NAMES = {"current", "flagged", "history", "meter_unit_id", "created", "expiry"}


def client_reads(model: Any, kind: str, path: str) -> bool:
    """Say whether a client reads every step of a look-up that starts at a kind of answer."""
    first, *rest = path.split("__")
    if first not in OTHER_NAMES and Role.CLIENT not in (row_of(kind, first) or ()):
        return False
    for step in rest:
        model = model._meta.get_field(first).related_model
        if Role.CLIENT not in (row_of(model.__name__, step) or ()):
            return False
        first = step
    return True


@pytest.mark.parametrize("route", CLIENT_LISTS, ids=str)
def test_no_client_can_ask_a_list_about_what_they_do_not_read(
    route: Route, as_client: APIClient, company: Company, first_client: Client
) -> None:
    view_class = route.view_class
    kind = view_class(action="list").get_serializer_class().__name__.removesuffix("Serializer")
    for name, column in filter_columns(view_class()).items():
        answer = as_client.get(route.path, {name: "no value at all"})
        refusal = answer.json()["errors"][0]["detail"] if answer.status_code == 400 else ""
        taken = not refusal.startswith("There is no query parameter")
        assert taken == client_reads(view_class.queryset.model, kind, column), name
    for field in getattr(view_class, "ordering_fields", ()):
        taken = as_client.get(route.path, {"ordering": field}).status_code == 200
        assert taken == client_reads(view_class.queryset.model, kind, field), field


def test_a_client_cannot_probe_how_sure_a_finding_is_but_staff_can(
    as_client: APIClient, as_installer: APIClient, company: Company, first_client: Client
) -> None:
    unit = factories.UnitFactory(company=company, site__client=first_client)
    factories.FindingFactory(unit=unit, confidence=0.7)
    address = "/api/v1/findings/"
    for sent in ({"confidence__gte": "0.6"}, {"rule": "D01"}, {"ordering": "confidence"}):
        assert as_client.get(address, sent).status_code == 400, sent
        assert as_installer.get(address, sent).status_code == 200, sent
    assert "confidence" not in as_client.get(address, {"page": "9", "ordering": "x"}).json()["errors"][0]["detail"]


def test_no_export_is_open_to_clients() -> None:
    """What is no JSON passes by the table, so it is for staff; the client's are pictures of work and of what
    was seen at their own site, invoices as they got them, and the archive of what their lists say."""
    others = {
        str(route)
        for route in open_to(Role.CLIENT)
        for answer in description()["paths"][route.path.replace("<pk>", "{id}")][route.method.lower()][
            "responses"
        ].items()
        if answer[0].startswith("2") and set(answer[1].get("content", {})) - {"application/json"}
    }
    assert others == {
        "GET /api/v1/service-photos/<pk>/image/",
        "GET /api/v1/reading-photos/<pk>/image/",
        "GET /api/v1/invoices/<pk>/pdf/",
        "GET /api/v1/client-data/<pk>/",
    }


WORDS = "pays late"


def unit_of(client: Client, **facts: Any) -> Any:
    return factories.UnitFactory(company=client.company, site__client=client, **facts)


@pytest.mark.parametrize(
    ("field", "address", "make"),
    [
        ("notes", "units", lambda client: unit_of(client, notes=WORDS)),
        ("trouble", "messages", lambda client: factories.MessageFactory(client=client, trouble=WORDS)),
        ("call_note", "messages", lambda client: factories.MessageFactory(client=client, call_note=WORDS)),
        (
            "decision_note",
            "findings",
            lambda client: factories.FindingFactory(unit=unit_of(client), decision_note=WORDS),
        ),
        (
            "note",
            "service-records",
            lambda client: factories.ServiceRecordFactory(site=factories.SiteFactory(client=client), note=WORDS),
        ),
    ],
)
def test_what_the_company_writes_for_itself_is_read_by_its_people_alone(
    field: str, address: str, make: Any, as_client: APIClient, as_office: APIClient, first_client: Client
) -> None:
    make(first_client)
    (by_staff,) = as_office.get(f"/api/v1/{address}/").json()["results"]
    assert by_staff[field] == WORDS
    by_client = as_client.get(f"/api/v1/{address}/")
    assert field not in by_client.json()["results"][0]
    assert WORDS not in by_client.content.decode()
