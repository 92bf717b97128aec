"""Sites, units and their trains over the API."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Client, Company
from fleet.models import AccessWindow, CatalogueItem, Forecast, Placement, Position, Site, Unit
from tests import factories


@pytest.fixture
def site(company: Company, first_client: Client) -> Site:
    return factories.SiteFactory(company=company, client=first_client)


def pointers(response: Any) -> list[str]:
    return [fault["pointer"] for fault in response.json()["errors"]]


def new_unit(site: Site, **change: Any) -> dict[str, Any]:
    return {
        "site": site.pk,
        "code": "RX-1",
        "use": "reef",
        "kind": "ro_di",
        "product_tds_target": "1 ppm",
        "weekly_demand": "40 US gal",
        "commissioned_on": "2026-01-10",
        **change,
    }


def test_a_site_keeps_its_access_windows_and_refuses_impossible_ones(
    first_client: Client, as_office: APIClient
) -> None:
    body = {
        "client": first_client.pk,
        "code": "S-1",
        "name": "Harbour Flat",
        "latitude": 52.5,
        "longitude": 13.4,
        "time_zone": "Europe/Berlin",
        "access_windows": [{"weekday": 0, "opens": "08:00", "closes": "12:00"}],
    }
    created = as_office.post("/api/v1/sites/", body)
    assert created.status_code == 201, created.content
    assert created.json()["access_windows"] == body["access_windows"]
    windows = [{"weekday": 4, "opens": "09:00", "closes": "17:30"}, {"weekday": 4, "opens": "18:00", "closes": "19:00"}]
    changed = as_office.patch(created.headers["Location"], {"access_windows": windows})
    assert changed.json()["access_windows"] == windows
    assert AccessWindow.objects.count() == 2
    wrong = [
        {"weekday": 7, "opens": "09:00", "closes": "10:00"},
        {"weekday": 1, "opens": "25:00", "closes": "10:00"},
        {"weekday": 1, "opens": "11:00", "closes": "10:00"},
        {"weekday": 1, "opens": "11:00"},
    ]
    for window in wrong:
        assert as_office.patch(created.headers["Location"], {"access_windows": [window]}).status_code == 400
    overlapping = [
        {"weekday": 1, "opens": "09:00", "closes": "11:00"},
        {"weekday": 1, "opens": "10:00", "closes": "12:00"},
    ]
    refused = as_office.patch(created.headers["Location"], {"access_windows": overlapping})
    assert pointers(refused) == ["/access_windows/1"]
    assert AccessWindow.objects.count() == 2
    assert as_office.post("/api/v1/sites/", {**body, "code": "S-2", "time_zone": "Mars/Base"}).status_code == 400
    assert as_office.post("/api/v1/sites/", {**body, "code": "S-2", "latitude": 91}).status_code == 400
    assert as_office.post("/api/v1/sites/", body).status_code == 409


def test_a_unit_is_created_with_its_train_and_cartridges_in_one_go(site: Site, as_office: APIClient) -> None:
    membrane = factories.CatalogueItemFactory(company=site.company, kind="membrane", code="MEM-75")
    body = new_unit(
        site,
        positions=[
            {"stage": "sediment"},
            {"stage": "carbon", "role": "lead"},
            {"stage": "carbon", "role": "lag"},
            {"stage": "membrane", "item": membrane.pk, "serial_or_lot": "LOT-1"},
        ],
    )
    created = as_office.post("/api/v1/units/?units=metric", body)
    assert created.status_code == 201, created.content
    unit = created.json()
    assert [(place["order"], place["stage"], place["role"]) for place in unit["positions"]] == [
        (1, "sediment", "single"),
        (2, "carbon", "lead"),
        (3, "carbon", "lag"),
        (4, "membrane", "single"),
    ]
    assert unit["positions"][3]["installed"]["item_code"] == "MEM-75"
    assert unit["positions"][0]["installed"] is None
    assert unit["positions"][0]["forecast"] is None
    assert unit["latest_reading"] is None
    # 40 US gallons are 151.416 L (1 US gallon = 3.785411784 L, NIST SP 811).
    assert unit["weekly_demand"] == {"value": pytest.approx(151.41647), "unit": "L"}
    template = as_office.post("/api/v1/units/", new_unit(site, code="RX-2", template="ro_di_two_resin"))
    assert [place["stage"] for place in template.json()["positions"]][-2:] == ["resin", "resin"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({}, "/positions"),
        ({"template": "ro", "positions": [{"stage": "carbon"}]}, "/positions"),
        ({"template": "magic"}, "/template"),
        ({"positions": []}, "/positions"),
        ({"positions": [{"stage": "membrane"}, {"stage": "carbon"}]}, "/positions/1/stage"),
        ({"positions": [{"stage": "carbon", "item": 987654}]}, "/positions/0/item"),
        ({"positions": [{"stage": "carbon", "colour": "black"}]}, "/positions/0/colour"),
        ({"template": "ro", "weekly_demand": 150}, "/weekly_demand"),
        ({"template": "ro", "weekly_demand": "40 gal"}, "/weekly_demand"),
        ({"template": "ro", "weekly_demand": "-4 L"}, "/weekly_demand"),
        ({"template": "ro", "product_tds_target": "1 psi"}, "/product_tds_target"),
        ({"template": "ro", "design_recovery_fraction": 1.5}, "/design_recovery_fraction"),
        ({"template": "ro", "retired_on": "2025-01-01"}, "/retired_on"),
        ({"template": "ro", "use": "soup"}, "/use"),
        ({"template": "ro_di_two_resin", "kind": "ro"}, "/positions/3/stage"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_with_a_pointer(
    site: Site, as_office: APIClient, change: dict[str, Any], pointer: str
) -> None:
    refused = as_office.post("/api/v1/units/", new_unit(site, **change))
    assert refused.status_code == 400, refused.content
    assert pointer in pointers(refused)
    assert not Unit.objects.exists()


def test_another_companys_item_is_refused_like_one_that_never_existed(site: Site, as_office: APIClient) -> None:
    foreign = factories.CatalogueItemFactory(kind="carbon", pk=777_000)
    as_office.defaults["HTTP_X_REQUEST_ID"] = "one-and-the-same"  # the answer names its request
    answers = []
    for pk in (foreign.pk, 987654321):
        refused = as_office.post("/api/v1/units/", new_unit(site, positions=[{"stage": "carbon", "item": pk}]))
        assert refused.status_code == 400
        answers.append(refused.content.decode().replace(str(pk), "..."))
    assert answers[0] == answers[1]


def test_a_single_unit_shows_what_stands_in_it_what_it_says_and_until_when(site: Site, as_installer: APIClient) -> None:
    unit = factories.UnitFactory(company=site.company, site=site)
    position = factories.PositionFactory(unit=unit, stage="resin")
    placement = factories.PlacementFactory(position=position)
    factories.ForecastFactory(position=position, is_latest=False, as_of=factories.TODAY - timedelta(days=1))
    latest = factories.ForecastFactory(position=position, placement=placement, date_grid=[405] * 45)
    factories.FindingFactory(unit=unit, state="closed")
    finding = factories.FindingFactory(unit=unit)
    wrong = factories.ReadingFactory(unit=unit)
    reading = factories.ReadingFactory(unit=unit, corrects=wrong, taken_at=wrong.taken_at)
    factories.ReadingIndicatorsFactory(
        reading=reading,
        values={"net_driving_pressure_kpa": 380.0, "waste_ratio": 4.0},
        uncertainties={"net_driving_pressure_kpa": 10.3},
    )
    answer = as_installer.get(f"/api/v1/units/{unit.pk}/?units=metric").json()
    place = answer["positions"][0]
    assert place["installed"]["id"] == placement.pk
    assert place["forecast"]["id"] == latest.pk
    assert answer["next_change_on"] == latest.p50.isoformat()
    assert [finding_row["id"] for finding_row in answer["open_findings"]] == [finding.pk]
    assert answer["open_finding_count"] == 1
    assert answer["latest_reading"]["id"] == reading.pk
    values = answer["latest_reading"]["indicators"]["values"]
    pressure = values["net_driving_pressure"]
    assert (pressure["value"], pressure["unit"], pressure["uncertainty"]) == (3.8, "bar", 0.1)
    assert pressure["installer_sentence"].endswith("after back-pressure and osmotic pressure, is 3.8 bar.")
    assert values["waste_ratio"] == {
        "value": 4.0,
        "unit": "",
        "installer_sentence": "The concentrate flow is 4 times the permeate flow.",
        "client_sentence": "The unit sends 4 times as much water to the drain as it purifies.",
    }
    listed = as_installer.get("/api/v1/units/?ordering=next_change_on").json()["results"]
    assert listed[0]["next_change_on"] == latest.p50.isoformat()


def test_units_are_ordered_by_the_date_that_each_of_them_shows(site: Site, as_installer: APIClient) -> None:
    def unit_with(*trains: list[int]) -> Unit:
        unit = factories.UnitFactory(company=site.company, site=site)
        for stage, tenths in zip(("resin", "carbon", "sediment"), trains, strict=False):
            position = factories.PositionFactory(unit=unit, stage=stage)
            placement = factories.PlacementFactory(position=position)
            median = factories.TODAY + timedelta(days=tenths[len(tenths) // 2] // 10)
            factories.ForecastFactory(position=position, placement=placement, date_grid=tenths, p50=median)
        return unit

    wide = [505 + 25 * step for step in range(45)]
    sure = unit_with([1025] * 45)
    # Of three alike, each with a later median than the sure one, the first is likely to come before it.
    threefold = unit_with(wide, wide, wide)
    late, undated = unit_with([3005] * 45), factories.UnitFactory(company=site.company, site=site)

    def listed(ordering: str) -> list[tuple[int, str | None]]:
        rows = as_installer.get(f"/api/v1/units/?ordering={ordering}").json()["results"]
        return [(row["id"], row["next_change_on"]) for row in rows]

    dated = [row for row in listed("next_change_on") if row[1]]
    assert [pk for pk, _ in dated] == [threefold.pk, sure.pk, late.pk]
    assert dated == sorted(dated, key=lambda row: str(row[1]))
    assert [row for row in listed("-next_change_on") if row[1]] == dated[::-1]
    assert (undated.pk, None) in listed("next_change_on")


def test_changing_a_unit_heeds_its_etag_and_its_train(site: Site, as_office: APIClient) -> None:
    created = as_office.post("/api/v1/units/", new_unit(site, template="ro_di"))
    address, etag = created.headers["Location"], created.headers["ETag"]
    changed = as_office.patch(address, {"weekly_demand": "200 L"}, headers={"If-Match": etag})
    assert changed.status_code == 200, changed.content
    assert as_office.patch(address, {"notes": "x"}, headers={"If-Match": etag}).status_code == 412
    assert pointers(as_office.patch(address, {"kind": "ro"})) == ["/kind"]
    assert as_office.patch(address, {"positions": []}).status_code == 400
    factories.ReadingFactory(unit=Unit.objects.get())
    assert as_office.delete(address).status_code == 409
    assert as_office.patch(address, {"retired_on": "2026-03-01"}).status_code == 200


def test_positions_follow_the_rules_of_a_train(site: Site, as_office: APIClient) -> None:
    unit = as_office.post("/api/v1/units/", new_unit(site, template="ro_di")).json()
    body = {"unit": unit["id"], "order": 5, "stage": "resin", "role": "lag"}
    # The single resin must become a lead before there can be a lag.
    assert as_office.post("/api/v1/positions/", body).status_code == 400
    assert pointers(as_office.post("/api/v1/positions/", {**body, "order": 4})) == ["/order"]
    assert pointers(as_office.post("/api/v1/positions/", {**body, "stage": "sediment", "role": "single"})) == ["/stage"]
    position = Position.objects.get(stage="carbon")
    factories.PlacementFactory(position=position)
    assert as_office.patch(f"/api/v1/positions/{position.pk}/", {"stage": "membrane"}).status_code == 409
    assert as_office.delete(f"/api/v1/positions/{position.pk}/").status_code == 409
    resin = Position.objects.get(stage="resin")
    assert as_office.delete(f"/api/v1/positions/{resin.pk}/").status_code == 204


def test_cartridges_are_placed_removed_and_rotated(site: Site, as_installer: APIClient) -> None:
    unit = factories.UnitFactory(company=site.company, site=site)
    lead = factories.PositionFactory(unit=unit, stage="resin", role="lead")
    lag = factories.PositionFactory(unit=unit, stage="resin", role="lag")
    item = factories.CatalogueItemFactory(company=site.company, kind="resin")
    earlier = (timezone.now() - timedelta(hours=3)).isoformat()
    for position in (lead, lag):
        created = as_installer.post(
            "/api/v1/placements/", {"position": position.pk, "item": item.pk, "placed_at": earlier}
        )
        assert created.status_code == 201, created.content
    refused = as_installer.post("/api/v1/placements/", {"position": lag.pk, "item": item.pk})
    assert (refused.status_code, pointers(refused)) == (409, ["/removal"])
    rotated = as_installer.post(
        "/api/v1/placements/rotate/",
        {
            "unit": unit.pk,
            "stage": "resin",
            "item": item.pk,
            "serial_or_lot": "L9",
            "rotated_at": (timezone.now() - timedelta(hours=1)).isoformat(),
        },
    )
    assert rotated.status_code == 201, rotated.content
    assert rotated.json()["moved"]["continues"] == created.json()["id"]
    assert rotated.json()["fresh"]["serial_or_lot"] == "L9"
    fresh = rotated.json()["fresh"]["id"]
    assert as_installer.post(f"/api/v1/placements/{fresh}/remove/", {"removal": "rotated"}).status_code == 400
    removed = as_installer.post(f"/api/v1/placements/{fresh}/remove/", {"removal": "damaged"})
    assert removed.json()["removal"] == "damaged"
    assert as_installer.post(f"/api/v1/placements/{fresh}/remove/", {"removal": "damaged"}).status_code == 409
    installed = as_installer.get(f"/api/v1/placements/?removed_at__isnull=true&position__unit={unit.pk}").json()
    assert installed["count"] == 1
    assert Placement.objects.count() == 4


def test_a_catalogue_item_speaks_in_quantities_and_asks_for_what_its_kind_needs(
    company: Company, as_office: APIClient
) -> None:
    body = {
        "code": "MEM-75",
        "name": "Membrane 75",
        "kind": "membrane",
        "price": "48.00",
        "membrane_material": "polyamide",
        "rejection_fraction": 0.97,
        "rated_flow": "75 gpd",
        "rated_pressure": "60 psi",
        "rated_temperature": "77 degF",
        "rated_tds": "250 ppm",
        "rated_recovery_fraction": 0.15,
    }
    created = as_office.post("/api/v1/catalogue-items/?units=us", body)
    assert created.status_code == 201, created.content
    assert created.json()["rated_flow"] == {"value": 75, "unit": "US gpd"}
    assert created.json()["rated_pressure"] == {"value": 60, "unit": "psi"}
    assert CatalogueItem.objects.get().rated_temperature_degc == 25.0
    bare = {name: value for name, value in body.items() if not name.startswith("rated_")}
    refused = as_office.post("/api/v1/catalogue-items/", {**bare, "code": "MEM-76"})
    # what is usual of a label is taken where it says nothing; how much a membrane makes, nobody can guess
    assert pointers(refused) == ["/rated_flow"]
    resin = {"code": "DI", "name": "Resin", "kind": "resin", "price": "30", "resin_volume": "0.6 L"}
    accepted = as_office.post("/api/v1/catalogue-items/", {**resin, "resin_capacity": "10 kgr/ft3"})
    assert accepted.status_code == 201
    # 10 kilograin per cubic foot are 0.457273 eq per litre (64.79891 mg a grain, 50.04345 mg CaCO3 an equivalent,
    # 28.316846592 L a cubic foot).
    assert CatalogueItem.objects.get(code="DI").resin_capacity_eq_per_l == pytest.approx(0.457273, abs=1e-5)


def test_an_instrument_names_what_it_measures_as_the_api_does(company: Company, as_installer: APIClient) -> None:
    created = as_installer.post(
        "/api/v1/instruments/", {"name": "Wall meter", "measures": ["permeate_tds", "product_tds"], "tds_factor": 0.7}
    )
    assert created.status_code == 201, created.content
    assert created.json()["measures"] == ["permeate_tds", "product_tds"]
    assert company.instruments.get().measures == ["permeate_tds_mg_per_l", "product_tds_mg_per_l"]
    for wrong in ({"measures": ["happiness"]}, {"measures": "permeate_tds"}, {"tds_factor": 7}, {"tds_factor": "0,5"}):
        refused = as_installer.post("/api/v1/instruments/", {"name": "Other", **wrong})
        assert refused.status_code == 400, wrong


def test_a_client_is_told_whether_the_water_is_good_and_what_happens_next(site: Site, as_client: APIClient) -> None:
    unit = factories.UnitFactory(company=site.company, site=site, product_tds_target_mg_per_l=1.0)
    position = factories.PositionFactory(unit=unit, stage="resin")
    address = f"/api/v1/units/{unit.pk}/status/"
    assert as_client.get(address).json()["water"] == "unknown"
    body = {"product_tds": "0 ppm", "permeate_tds": "9 ppm"}
    assert as_client.post(f"/api/v1/units/{unit.pk}/readings/", body).status_code == 201
    forecast = factories.ForecastFactory(position=position, date_grid=[405] * 45)
    factories.FindingFactory(unit=unit, client_sentence="We will come and look.")
    good = as_client.get(f"{address}?units=us").json()
    assert (good["water"], good["measured"], good["limit"]) == ("good", "product_tds", {"value": 1, "unit": "ppm"})
    assert good["next_change"]["on"] == forecast.p50.isoformat()
    assert good["findings"] == ["We will come and look."]
    assert "Deionised water is not for drinking." in good["cautions"]
    removed_placement = factories.PlacementFactory(position=position, removed_at=timezone.now(), removal="exhausted")
    Forecast.objects.filter(pk=forecast.pk).update(placement=removed_placement)
    assert as_client.get(address).json()["next_change"] is None
    as_client.post(f"/api/v1/units/{unit.pk}/readings/", {"product_tds": "3 ppm"})
    bad = as_client.get(address).json()
    assert bad["water"] == "not_good"
    assert bad["value"] == {"value": 3, "unit": "mg/L"}


@pytest.mark.parametrize("route", ["sites", "units", "positions", "placements", "catalogue-items", "instruments"])
def test_the_number_of_queries_does_not_grow_with_the_page(site: Site, as_owner: APIClient, route: str) -> None:
    def queries(rows: int) -> int:
        for _ in range(rows):
            unit = factories.UnitFactory(company=site.company)
            factories.AccessWindowFactory(site=unit.site)
            position = factories.PositionFactory(unit=unit, stage="resin")
            factories.ForecastFactory(position=position, placement=factories.PlacementFactory(position=position))
            factories.FindingFactory(unit=unit)
            factories.InstrumentFactory(company=site.company, unit=unit)
        with CaptureQueriesContext(connection) as queries:
            assert as_owner.get(f"/api/v1/{route}/?page_size=500").status_code == 200
        return len(queries)

    assert queries(2) == queries(12)


def test_a_units_page_asks_the_same_whatever_its_train(site: Site, as_owner: APIClient) -> None:
    def queries(stages: list[str]) -> int:
        unit = factories.UnitFactory(company=site.company, commissioned_on=date(2025, 1, 1))
        for stage in stages:
            position = factories.PositionFactory(unit=unit, stage=stage)
            factories.ForecastFactory(position=position, placement=factories.PlacementFactory(position=position))
        with CaptureQueriesContext(connection) as queries:
            assert as_owner.get(f"/api/v1/units/{unit.pk}/").status_code == 200
        return len(queries)

    assert queries(["sediment"]) == queries(["sediment", "carbon", "membrane", "resin"])


def test_exceptions_to_the_hours_of_a_site_are_sent_whole_and_replaced(as_office: APIClient, site: Site) -> None:
    address = f"/api/v1/sites/{site.pk}/"
    holiday = {"first_day": "2026-12-24", "last_day": "2027-01-02", "reason": "Works holiday."}
    fair = {"first_day": "2026-09-12", "opens": "09:00", "closes": "13:00"}
    site_body = as_office.patch(address, {"access_exceptions": [holiday, fair]}, format="json").json()
    assert site_body["access_exceptions"] == [
        {**fair, "last_day": "2026-09-12", "reason": ""},
        {**holiday, "opens": None, "closes": None},
    ]
    assert as_office.patch(address, {"name": "New name"}, format="json").json()["access_exceptions"]
    assert as_office.patch(address, {"access_exceptions": []}, format="json").json()["access_exceptions"] == []


@pytest.mark.parametrize(
    ("rows", "pointer"),
    [
        ([{"first_day": "2026-12-24", "last_day": "2026-12-23"}], "/access_exceptions/0/last_day"),
        ([{"first_day": "2026-12-24", "opens": "09:00"}], "/access_exceptions/0"),
        ([{"first_day": "2026-12-24", "opens": "09:00", "closes": "08:00"}], "/access_exceptions/0/closes"),
        ([{"last_day": "2026-12-24"}], "/access_exceptions/0/first_day"),
        (
            [
                {"first_day": "2026-12-24"},
                {"first_day": "2026-12-20", "last_day": "2026-12-31", "opens": "9:00", "closes": "10:00"},
            ],
            "/access_exceptions/1",
        ),
    ],
)
def test_exceptions_that_cannot_be_are_refused(
    as_office: APIClient, site: Site, rows: list[dict[str, str]], pointer: str
) -> None:
    refused = as_office.patch(f"/api/v1/sites/{site.pk}/", {"access_exceptions": rows}, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not site.access_exceptions.exists()


@pytest.mark.parametrize(
    ("use", "highest"), [("reef", 1.0), ("planted", 20.0), ("drinking", 50.0), ("laboratory", 0.5)]
)
def test_a_unit_without_a_target_has_that_of_its_use(
    as_office: APIClient, site: Site, use: str, highest: float
) -> None:
    body = new_unit(site, use=use, template="ro_di")
    del body["product_tds_target"]
    created = as_office.post("/api/v1/units/", body)
    assert created.status_code == 201, created.content
    assert created.json()["product_tds_target"] == {"value": highest, "unit": "mg/L"}
    assert created.json()["assumed"] == ["product_tds_target"]


def test_a_weekly_use_that_nobody_told_is_usual_and_named_until_somebody_does(as_office: APIClient, site: Site) -> None:
    body = new_unit(site, use="coffee", template="ro_di", code="A1")
    del body["weekly_demand"], body["product_tds_target"]
    unit = as_office.post("/api/v1/units/", body).json()
    assert (unit["weekly_demand"]["value"], unit["assumed"]) == (150.0, ["product_tds_target", "weekly_demand"])
    address = f"/api/v1/units/{unit['id']}/"
    drinking = as_office.patch(address, {"use": "drinking"}).json()
    assert (drinking["weekly_demand"]["value"], drinking["assumed"]) == (40.0, ["product_tds_target", "weekly_demand"])
    told = as_office.patch(address, {"weekly_demand": "40 L"}).json()
    assert (told["weekly_demand"]["value"], told["assumed"]) == (40.0, ["product_tds_target"])
    assert as_office.patch(address, {"use": "coffee"}).json()["weekly_demand"]["value"] == 40.0
    assert as_office.patch(address, {"assumed": []}).status_code == 400


def test_a_cartridge_of_another_format_is_refused_over_the_api(
    company: Company, as_owner: APIClient, as_office: APIClient, as_installer: APIClient
) -> None:
    unit = factories.UnitFactory(company=company)
    sent = {"unit": unit.pk, "order": 1, "stage": "sediment", "cartridge_size": "10_inch", "connection": "housing"}
    position = as_office.post("/api/v1/positions/", sent).json()
    assert (position["cartridge_size"], position["flow_direction"]) == ("10_inch", "")
    assert pointers(as_office.post("/api/v1/positions/", {**sent, "order": 2, "cartridge_size": "big"})) == [
        "/cartridge_size"
    ]
    items = {}
    for code, size in (("S10", "10_inch"), ("S20", "20_inch")):
        item = {"code": code, "name": code, "kind": "sediment", "price": "4.20", "cartridge_size": size}
        items[code] = as_owner.post("/api/v1/catalogue-items/", item).json()["id"]
    refused = as_installer.post("/api/v1/placements/", {"position": position["id"], "item": items["S20"]})
    assert (refused.status_code, refused.json()["code"], pointers(refused)) == (400, "wrong_format", ["/item"])
    assert "What fits: S10." in refused.json()["errors"][0]["detail"]
    report = {
        "site": unit.site_id,
        "reference": "van-1/1",
        "done_at": "2026-03-01T10:00:00Z",
        "work": [{"action": "replace", "unit": unit.pk, "position": position["id"], "item": items["S20"]}],
    }
    refused = as_installer.post("/api/v1/service-records/", report)
    assert (refused.status_code, pointers(refused)) == (400, ["/work/0/item"])
    need = {"unit": unit.pk, "kind": "replace", "position": position["id"], "item": items["S20"], "reason": "Wish."}
    assert pointers(as_office.post("/api/v1/needs/", need)) == ["/item"]
    right = as_installer.post("/api/v1/placements/", {"position": position["id"], "item": items["S10"]})
    assert right.status_code == 201
