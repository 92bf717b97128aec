"""Invoices over the API: what a visit comes to, worked by hand, and what becomes of it."""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader
from rest_framework.test import APIClient

from accounts.models import Client, Company
from fleet.models import PastOwnership, Site, Unit
from scheduling.models import Invoice, InvoicedWork, ServiceRecord
from tests import factories

INVOICES = "/api/v1/invoices/"
PROPOSALS = f"{INVOICES}proposals/"
MARCH = {"month": "2026-03"}
AT = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def later() -> Iterator[None]:
    """April has begun: the month that is invoiced is over."""
    with time_machine.travel(datetime(2026, 4, 20, 6, 0, tzinfo=UTC), tick=False):
        yield


@pytest.fixture
def prices(company: Company) -> dict[str, Any]:
    """A price list: 19 % on all but the resin, which is at 7 %."""
    Company.objects.filter(pk=company.pk).update(time_zone="Europe/Berlin", tax_number="DE-0")
    for vat, percent in (("standard", "19"), ("reduced", "7")):
        factories.VatRateFactory(company=company, vat=vat, percent=percent, valid_from=date(2020, 1, 1))
    factories.SalesPriceFactory(company=company, kind="call_out", item=None, price="35.00")
    factories.SalesPriceFactory(company=company, kind="hour", item=None, price="54.60")
    items = {}
    for code, price, vat in (
        ("SED-5", "9.95", "standard"),
        ("RES-12", "42.50", "reduced"),
        ("STRIP", "0.99", "standard"),
    ):
        items[code] = factories.CatalogueItemFactory(
            company=company, code=code, name=f"{code} cartridge", kind="small_part"
        )
        factories.SalesPriceFactory(company=company, item=items[code], price=price, vat=vat)
    return items


@pytest.fixture
def unit(first_client: Client) -> Unit:
    made: Unit = factories.UnitFactory(site__client=first_client, site__address="Quay 1", code="S1-1")
    return made


Report = Callable[..., ServiceRecord]


@pytest.fixture
def report(prices: dict[str, Any], unit: Unit) -> Report:
    """Reports of work at the unit: 50 minutes, a sediment cartridge, a resin and three strips."""

    def make(**facts: Any) -> ServiceRecord:
        position = factories.PositionFactory(unit=unit, stage="sediment", order=ServiceRecord.objects.count() + 1)
        used = {"SED-5": 1, "RES-12": 1, "STRIP": 3}
        work = [
            {"action": "replace", "unit": unit.pk, "position": position.pk, "item": prices["SED-5"].pk},
            {"action": "sanitise", "unit": unit.pk},
        ]
        parts = [{"item": prices[code].pk, "quantity": count} for code, count in used.items()]
        given = {"minutes": 50, "work": work, "parts": parts, "done_at": AT, **facts}
        made: ServiceRecord = factories.ServiceRecordFactory(site=unit.site, company=unit.company, **given)
        return made

    return make


def proposed(api: APIClient, **asked: Any) -> list[dict[str, Any]]:
    answer = api.get(PROPOSALS, asked or MARCH)
    assert answer.status_code == 200, answer.content
    rows: list[dict[str, Any]] = answer.json()["results"]
    return rows


def issue(api: APIClient, client: Client, **more: Any) -> Any:
    return api.post(INVOICES, {"client": client.pk, **MARCH, **more}, format="json")


def test_a_visit_comes_to_what_it_does_by_hand(report: Report, as_office: APIClient, first_client: Client) -> None:
    """By hand: call-out 35.00; 50 min = 0.8333 h x 54.60 = 45.49818, so 45.50; SED-5 9.95; 3 strips 2.97; resin 42.50.

    At 19 %: 93.42, tax 17.7498, so 17.75. At 7 %: 42.50, tax 2.975, half up 2.98. Gross 135.92 + 20.73 = 156.65.
    """
    report()
    (proposal,) = proposed(as_office)
    assert (proposal["client"], proposal["bill_to_name"], proposal["bill_to_address"]) == (
        first_client.pk,
        "First Client",
        "Quay 1",
    )
    said = [(row["kind"], row["unit_code"], row["quantity"], row["price"], row["net"]) for row in proposal["lines"]]
    assert said == [
        ("call_out", "", "1.0000", "35.00", "35.00"),
        ("labour", "S1-1", "0.8333", "54.60", "45.50"),
        ("part", "S1-1", "1.0000", "9.95", "9.95"),
        ("part", "", "1.0000", "42.50", "42.50"),
        ("part", "", "3.0000", "0.99", "2.97"),
    ]
    assert [(rate["percent"], rate["net"], rate["tax"]) for rate in proposal["by_rate"]] == [
        ("19.00", "93.42", "17.75"),
        ("7.00", "42.50", "2.98"),
    ]
    assert (proposal["net"], proposal["tax"], proposal["gross"]) == ("135.92", "20.73", "156.65")
    assert proposal["missing"] == []
    assert "tax adviser" in proposal["remarks"][0]
    assert proposed(as_office) == [proposal], "the same input gives the same document"


def test_a_proposal_says_whom_an_invoice_would_leave_unnamed(report: Report, as_office: APIClient) -> None:
    report()
    Company.objects.update(address="Yard 1")
    complete = proposed(as_office)[0]
    assert not [remark for remark in complete["remarks"] if "usually have to name" in remark]
    Company.objects.update(address="", tax_number=" ")
    Site.objects.update(address="")
    (proposal,) = proposed(as_office)
    unnamed = [remark for remark in proposal["remarks"] if "usually have to name" in remark]
    assert [words in remark for words, remark in zip(("own address", "tax number", "the client"), unnamed, strict=True)]
    assert proposal["missing"] == [], "small sums and small firms may do without; that is for the company to say"


def test_an_issued_invoice_is_numbered_kept_and_not_asked_for_twice(
    report: Report, prices: dict[str, Any], as_office: APIClient, first_client: Client
) -> None:
    record = report()
    (proposal,) = proposed(as_office)
    answer = issue(as_office, first_client, version=proposal["version"])
    assert answer.status_code == 201, answer.content
    invoice = answer.json()
    year = Invoice.objects.get().year
    assert (invoice["number"], invoice["gross"]) == (f"{year}-0001", "156.65")
    assert (invoice["seller_name"], invoice["seller_tax_number"]) == ("North Water", "DE-0")
    assert invoice["by_rate"] == proposal["by_rate"]
    assert proposed(as_office) == proposed(as_office, service_record=record.pk) == []
    again = issue(as_office, first_client)
    assert (again.status_code, again.json()["code"]) == (409, "nothing_to_invoice")
    # what changes afterwards changes nothing of it
    as_office.patch(f"/api/v1/sales-prices/{prices['SED-5'].sales_prices.get().pk}/", {"price": "99.00"})
    assert as_office.get(f"{INVOICES}{invoice['id']}/").json()["gross"] == "156.65"
    with pytest.raises(TypeError, match="never changed"):
        Invoice.objects.get().save()


def test_work_on_an_invoice_is_not_taken_back_until_the_invoice_is_cancelled(
    report: Report, as_office: APIClient, first_client: Client
) -> None:
    record = report(work=[{"action": "inspect", "unit": Unit.objects.get().pk}], parts=[])
    invoice = issue(as_office, first_client).json()
    refused = as_office.post(f"/api/v1/service-records/{record.pk}/void/", {"reason": "Nobody went."}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "work_is_invoiced")
    assert invoice["number"] in refused.json()["detail"]
    answer = as_office.post(f"{INVOICES}{invoice['id']}/cancel/", {"reason": "Nobody went."}, format="json")
    assert answer.status_code == 200, answer.content
    assert (
        as_office.post(
            f"/api/v1/service-records/{record.pk}/void/", {"reason": "Nobody went."}, format="json"
        ).status_code
        == 200
    )
    assert proposed(as_office) == []


def test_a_credit_note_takes_it_back_under_the_next_number(
    report: Report, as_office: APIClient, as_owner: APIClient, first_client: Client
) -> None:
    report()
    invoice = issue(as_office, first_client).json()
    address = f"{INVOICES}{invoice['id']}/cancel/"
    assert as_office.post(address, {}, format="json").json()["errors"][0]["pointer"] == "/reason"
    note = as_office.post(address, {"reason": "Wrong address."}, format="json").json()
    assert (note["kind"], note["cancels"], note["reason"]) == ("credit_note", invoice["id"], "Wrong address.")
    assert note["number"].endswith("-0002")
    assert (note["net"], note["tax"], note["gross"]) == ("-135.92", "-20.73", "-156.65")
    assert [row["net"] for row in note["lines"]] == [f"-{row['net']}" for row in invoice["lines"]]
    assert as_office.get(f"{INVOICES}{invoice['id']}/").json()["cancelled_by"] == note["id"]
    assert as_office.post(address, {"reason": "Again."}, format="json").json()["code"] == "cancelled_already"
    twice = as_office.post(f"{INVOICES}{note['id']}/cancel/", {"reason": "Again."}, format="json")
    assert twice.json()["code"] == "not_an_invoice"
    third = issue(as_office, first_client, bill_to="Upper Street 9").json()
    assert (third["number"][-4:], third["bill_to_address"]) == ("0003", "Upper Street 9")
    told = [row["sentence"] for row in as_owner.get("/api/v1/audit-entries/").json()["results"]]
    assert any(f"cancelled the invoice {invoice['number']}" in sentence for sentence in told)
    assert any(f"issued the invoice {invoice['number']}" in sentence for sentence in told)


def test_what_a_warranty_or_a_contract_covers_stands_there_for_nothing_with_the_reason(
    report: Report, prices: dict[str, Any], unit: Unit, as_office: APIClient, first_client: Client
) -> None:
    """By hand: without resin and labour 35.00 + 9.95 + 2.97 = 47.92; at 19 % that is 9.1048, so 9.10."""
    report()
    for path, sent in (
        ("warranties", {"item": prices["RES-12"].pk, "starts_on": "2026-01-01", "ends_on": "2026-03-10"}),
        (
            "service-contracts",
            {
                "client": first_client.pk,
                "unit": unit.pk,
                "name": "Basic care",
                "covers_parts": False,
                "covers_labour": True,
                "starts_on": "2025-03-20",
                "price": "120.00",
                "per": "year",
                "vat": "reduced",
            },
        ),
    ):
        answer = as_office.post(f"/api/v1/{path}/", sent, format="json")
        assert answer.status_code == 201, answer.content
    (proposal,) = proposed(as_office)
    free = {
        row["label"]: (row["price"], row["net"], row["free_because"])
        for row in proposal["lines"]
        if row["free_because"]
    }
    assert free == {
        "Labour": ("0.00", "0.00", "covered by Basic care"),
        "RES-12, RES-12 cartridge": ("0.00", "0.00", "under warranty until Tue 10 Mar 2026"),
    }
    # the second year of the contract begins on 20 March
    flat = proposal["lines"][-1]
    assert (flat["kind"], flat["label"], flat["net"]) == (
        "contract",
        "Basic care, 2026-03-20 to 2027-03-19",
        "120.00",
    )
    assert [(rate["vat"], rate["net"], rate["tax"]) for rate in proposal["by_rate"]] == [
        ("standard", "47.92", "9.10"),
        ("reduced", "120.00", "8.40"),
    ]
    assert issue(as_office, first_client).status_code == 201
    assert proposed(as_office) == []
    assert InvoicedWork.objects.filter(period_first_day=date(2026, 3, 20)).count() == 1


def test_a_day_after_its_last_a_warranty_covers_nothing(
    report: Report, prices: dict[str, Any], as_office: APIClient
) -> None:
    factories.WarrantyFactory(
        company=prices["RES-12"].company, unit=None, item=prices["RES-12"], ends_on=date(2026, 3, 9)
    )
    report()
    assert proposed(as_office)[0]["net"] == "135.92"


def test_one_coming_is_asked_for_once(report: Report, as_office: APIClient, first_client: Client) -> None:
    report()
    report(done_at=AT.replace(hour=15), parts=[], minutes=0)
    (proposal,) = proposed(as_office)
    assert [row["kind"] for row in proposal["lines"]].count("call_out") == 1
    assert issue(as_office, first_client).status_code == 201
    late = report(done_at=AT.replace(hour=6), parts=[], minutes=10)
    assert [row["kind"] for row in proposed(as_office, service_record=late.pk)[0]["lines"]] == ["labour"]


def test_a_missing_price_is_named_and_nothing_is_issued(
    report: Report, prices: dict[str, Any], as_office: APIClient, first_client: Client
) -> None:
    report()
    prices["STRIP"].sales_prices.all().delete()
    (proposal,) = proposed(as_office)
    assert proposal["missing"] == [
        "STRIP has no sales price for Tue 10 Mar 2026: add one with POST /api/v1/sales-prices/."
    ]
    answer = issue(as_office, first_client)
    assert (answer.status_code, answer.json()["code"]) == (409, "prices_missing")
    assert "STRIP" in answer.json()["detail"]
    assert not Invoice.objects.exists()


def test_a_proposal_that_changed_since_it_was_read_is_not_issued(
    report: Report, as_office: APIClient, first_client: Client
) -> None:
    report()
    version = proposed(as_office)[0]["version"]
    report(done_at=AT.replace(day=11))
    answer = issue(as_office, first_client, version=version)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (409, "/version")


def test_the_month_is_that_of_the_office(report: Report, as_office: APIClient) -> None:
    report(done_at=datetime(2026, 2, 28, 23, 30, tzinfo=UTC))  # half past midnight on 1 March in Berlin
    assert proposed(as_office, month="2026-02") == []
    assert proposed(as_office)[0]["first_day"] == "2026-03-01"


def test_whoever_had_the_site_when_the_work_was_done_is_asked(
    report: Report, unit: Unit, as_office: APIClient, first_client: Client, second_client: Client
) -> None:
    report()
    site = unit.site
    PastOwnership.objects.create(company=site.company, client=first_client, site=site, until=AT.replace(day=20))
    type(site).objects.filter(pk=site.pk).update(client=second_client, client_since=AT.replace(day=20))
    report(done_at=AT.replace(day=21))
    assert [row["client"] for row in proposed(as_office)] == [first_client.pk, second_client.pk]
    assert [row["client"] for row in proposed(as_office, client=second_client.pk, **MARCH)] == [second_client.pk]


def test_the_csv_and_the_pdf_say_what_the_proposal_says(
    report: Report, as_office: APIClient, first_client: Client
) -> None:
    report()
    text = as_office.get(f"{PROPOSALS}csv/", MARCH, HTTP_ACCEPT="text/csv")
    rows = list(csv.DictReader(io.StringIO(text.content.decode())))
    lines = [row for row in rows if row["row"] == "line"]
    assert sum(Decimal(row["net"]) for row in lines) == Decimal("135.92")
    assert [(row["net"], row["tax"], row["gross"]) for row in rows if row["row"] == "total"] == [
        ("135.92", "20.73", "156.65")
    ]
    assert rows[0]["document"] == "proposal"
    paper = as_office.get(f"{PROPOSALS}pdf/", MARCH, HTTP_ACCEPT="application/pdf")
    said = " ".join("".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages).split())
    for words in ("Proposal of an invoice to First Client", "156.65", "17.75", "not an invoice", "Tax number: DE-0"):
        assert words in said, words
    invoice = issue(as_office, first_client).json()
    note = as_office.post(f"{INVOICES}{invoice['id']}/cancel/", {"reason": "Wrong."}, format="json").json()
    paper = as_office.get(f"{INVOICES}{note['id']}/pdf/", HTTP_ACCEPT="application/pdf")
    said = " ".join("".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages).split())
    assert f"Credit note {note['number']}, cancels invoice {invoice['number']}" in said
    rows = list(csv.DictReader(io.StringIO(as_office.get(f"{INVOICES}{note['id']}/csv/").content.decode())))
    assert rows[-1]["gross"] == "-156.65"
    assert as_office.get(f"{PROPOSALS}pdf/", {"month": "2020-01"}, HTTP_ACCEPT="application/pdf").status_code == 200


def test_a_client_reads_their_own_invoices_and_nothing_else_of_it(
    report: Report,
    as_office: APIClient,
    as_client: APIClient,
    as_other_client: APIClient,
    as_installer: APIClient,
    as_rival: APIClient,
    first_client: Client,
) -> None:
    report()
    invoice = issue(as_office, first_client).json()
    (own,) = as_client.get(INVOICES).json()["results"]
    assert (own["number"], own["lines"]) == (invoice["number"], invoice["lines"])
    assert "issued_by" not in own
    assert as_client.get(f"{INVOICES}{invoice['id']}/pdf/").status_code == 200
    assert as_other_client.get(INVOICES).json()["results"] == []
    for api in (as_other_client, as_rival):
        assert api.get(f"{INVOICES}{invoice['id']}/").status_code == 404
    assert as_installer.get(INVOICES).status_code == 403
    for api in (as_client, as_installer):
        assert api.get(PROPOSALS, MARCH).status_code == 403
        assert api.get("/api/v1/sales-prices/").status_code == 403
        assert issue(api, first_client).status_code == 403


def test_proposals_of_many_reports_ask_the_database_no_more_often(
    report: Report, as_office: APIClient, company: Company
) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as captured:
            proposed(as_office)
        return len(captured)

    report()
    few = count()
    for day in range(11, 20):
        report(done_at=AT.replace(day=day))
        other = factories.UnitFactory(company=company)
        factories.ServiceRecordFactory(site=other.site, company=company, done_at=AT, minutes=5)
    assert count() == few


def test_without_a_month_it_is_the_last_one(as_office: APIClient, report: Report) -> None:
    report()
    of_last_month = as_office.get(PROPOSALS).json()
    assert len(of_last_month["results"]) == 1
    assert of_last_month == as_office.get(PROPOSALS, {"month": "2026-03"}).json()


@pytest.mark.parametrize(
    ("asked", "parameter"),
    [
        ({"month": "March"}, "month"),
        ({"month": "2026-13"}, "month"),
        ({"month": "2026-03", "client": "Nobody"}, "client"),
        ({"month": "2026-03", "service_record": "1"}, "service_record"),
        ({"month": "2026-03", "colour": "red"}, "colour"),
    ],
)
def test_a_question_that_cannot_be_answered_names_its_parameter(
    asked: dict[str, str], parameter: str, as_office: APIClient
) -> None:
    answer = as_office.get(PROPOSALS, asked)
    assert answer.status_code == 400
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [parameter]


@pytest.mark.parametrize(
    ("path", "sent", "pointer"),
    [
        ("warranties", {"starts_on": "2026-01-01", "ends_on": "2026-12-31"}, "/unit"),
        ("warranties", {"unit": "S1-1", "starts_on": "2026-02-01", "ends_on": "2026-01-01"}, "/ends_on"),
        (
            "warranties",
            {"item": "SED-5", "covers_labour": True, "starts_on": "2026-01-01", "ends_on": "2026-12-31"},
            "/covers_labour",
        ),
        ("sales-prices", {"price": "5.00", "valid_from": "2026-01-01"}, "/item"),
        ("sales-prices", {"kind": "hour", "item": "SED-5", "price": "5.00", "valid_from": "2026-01-01"}, "/item"),
        ("sales-prices", {"item": "SED-5", "price": "-1", "valid_from": "2026-01-01"}, "/price"),
        ("vat-rates", {"vat": "none", "percent": "5", "valid_from": "2026-01-01"}, "/vat"),
        ("vat-rates", {"vat": "standard", "percent": "101", "valid_from": "2026-01-01"}, "/percent"),
        (
            "service-contracts",
            {"client": "Second Client", "unit": "S1-1", "name": "Care", "price": "1", "starts_on": "2026-01-01"},
            "/unit",
        ),
        ("invoices", {"month": "2026-03"}, ""),
        ("invoices", {"client": "First Client", "month": "3/2026"}, "/month"),
    ],
)
def test_what_cannot_be_right_names_its_field(
    path: str,
    sent: dict[str, Any],
    pointer: str,
    prices: dict[str, Any],
    unit: Unit,
    second_client: Client,
    as_office: APIClient,
) -> None:
    answer = as_office.post(f"/api/v1/{path}/", sent, format="json")
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0].get("pointer") == pointer


def test_a_contract_that_is_invoiced_is_ended_and_not_counted_anew(
    prices: dict[str, Any], as_office: APIClient, first_client: Client
) -> None:
    contract = factories.ServiceContractFactory(company=first_client.company, client=first_client, vat="none")
    assert proposed(as_office)[0]["lines"][0]["label"].endswith("2026-03-15 to 2026-04-14")
    assert issue(as_office, first_client).status_code == 201
    address = f"/api/v1/service-contracts/{contract.pk}/"
    assert as_office.patch(address, {"starts_on": "2026-02-01"}, format="json").status_code == 409
    assert as_office.delete(address).status_code == 409
    assert as_office.patch(address, {"ends_on": "2026-04-14"}, format="json").status_code == 200
    assert proposed(as_office, month="2026-04") == []


def test_invoices_stay_when_a_client_is_erased_and_no_flat_price_follows(
    report: Report, as_office: APIClient, as_owner: APIClient, first_client: Client
) -> None:
    report()
    factories.ServiceContractFactory(company=first_client.company, client=first_client)
    invoice = issue(as_office, first_client).json()
    sent = {"name": first_client.name}
    answer = as_owner.post(f"/api/v1/client-data/{first_client.pk}/erase/", sent, format="json")
    assert (answer.status_code, answer.json()["invoices"]) == (200, 1)
    kept = as_office.get(f"{INVOICES}{invoice['id']}/").json()
    assert (kept["bill_to_name"], kept["gross"]) == ("First Client", invoice["gross"])
    ended = as_office.get("/api/v1/service-contracts/").json()["results"][0]
    assert ended["ends_on"] is not None
