"""Last month's invoices: prices, contracts and warranties, what things cost, proposals, issuing, a credit note."""

from datetime import UTC, datetime, timedelta

from tests.live.parts import Person


def walk(office: Person, client: Person) -> None:
    """Enter what is asked for, then invoice a month with the calls that the README lists."""
    entries(office)
    costs(office)
    invoices(office, client)


def entries(office: Person) -> None:
    rate = office.post("/vat-rates/", {"vat": "reduced", "percent": "11", "valid_from": "2039-01-01"})
    office.patch(f"/vat-rates/{rate['id']}/", {"percent": "12"})
    office.delete(f"/vat-rates/{rate['id']}/")
    price = office.post("/sales-prices/", {"item": "SED-5", "price": "8.50", "valid_from": "2039-01-01"})
    office.patch(f"/sales-prices/{price['id']}/", {"price": "8.90"})
    office.delete(f"/sales-prices/{price['id']}/")
    whose = office.rows("/clients/")[0]["id"]
    contract = office.post(
        "/service-contracts/", {"client": whose, "name": "Walk-in care", "price": "9.00", "starts_on": "2039-01-01"}
    )
    office.patch(f"/service-contracts/{contract['id']}/", {"covers_labour": True})
    office.delete(f"/service-contracts/{contract['id']}/")
    warranty = office.post("/warranties/", {"unit": "S02-1", "starts_on": "2039-01-01", "ends_on": "2039-12-31"})
    office.patch(f"/warranties/{warranty['id']}/", {"ends_on": "2040-12-31"})
    office.delete(f"/warranties/{warranty['id']}/")


def costs(office: Person) -> None:
    by_client, by_unit = office.get("/costs/?by=client"), office.get("/costs/")
    # litres go on between the two requests, money does not
    for figure in ("parts", "labour", "travel", "total", "waste", "changes", "reports"):
        assert by_client["total"][figure] == by_unit["total"][figure], figure
    assert office.get("/costs/?unit=S02-1&sized=true")["rows"][0]["sized"]["parts_per_1000_l"] > 0


def invoices(office: Person, client: Person) -> None:
    last_month = (datetime.now(UTC).replace(day=1) - timedelta(days=1)).strftime("%Y-%m")
    proposals = office.get(f"/invoices/proposals/?month={last_month}&page_size=500")["results"]
    assert len(proposals) > 5
    assert not [sentence for proposal in proposals for sentence in proposal["missing"]]
    for proposal in proposals:
        sent = {"client": proposal["client"], "month": last_month, "version": proposal["version"]}
        assert office.post("/invoices/", sent)["gross"] == proposal["gross"]
    assert office.get(f"/invoices/proposals/?month={last_month}&page_size=500")["results"] == []
    issued = office.rows("/invoices/")
    assert sorted(row["number"][-4:] for row in issued) == [f"{k:04d}" for k in range(1, len(proposals) + 1)]
    assert {row["client"] for row in client.rows("/invoices/")} <= {client.get("/me/")["membership"]["client"]}
    note = office.post(f"/invoices/{issued[0]['id']}/cancel/", {"reason": "wrong address"}, status=200)
    assert note["gross"] == f"-{issued[0]['gross']}"
    again = office.get(f"/invoices/proposals/?month={last_month}&page_size=500")["results"]
    assert [row["client"] for row in again] == [issued[0]["client"]]
