"""What is installed where, what was measured, and what follows: catalogue, sites, units, cartridges, readings."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.effort import LONG
from tests.live.parts import Person
from tests.live.workers import wait_until

FEED_WATER = "site,taken at,hardness [mg/L as CaCO3],alkalinity [mg/L as CaCO3],pH\nW01,{day} 10:00,140,120,7.4\n"
READINGS = "unit,taken at,reference,feed TDS [ppm],permeate TDS [ppm]\nW01-1,{day} 10:05,W01-1-a,250,9\n"
PUBLIC_RECORDS = (
    "ActivityStartDate,ActivityStartTime/Time,CharacteristicName,ResultMeasureValue,ResultMeasure/MeasureUnitCode,"
    "ActivityMediaName,ActivityIdentifier\n"
    "2025-05-06,10:00:00,pH,7.6,std units,Water,A-1\n"
)


def ago(**time: float) -> str:
    return (datetime.now(UTC) - timedelta(**time)).isoformat()


def walk(owner: Person, office: Person, installer: Person, meter: Person, client: Person) -> None:
    """Build a site from nothing, read it, and take away again what was entered by mistake."""
    item = catalogue(office)
    unit = build(office, item)
    cartridges(installer, office, unit, item)
    readings(office, installer, meter, client, unit)
    limits(owner, unit)
    findings(installer)
    runs(office)
    mistakes(office, unit)


def catalogue(office: Person) -> Mapping[str, Any]:
    supplier = office.post("/suppliers/", {"name": "Walk-in parts (invented)", "lead_time_days": 4})
    office.patch(f"/suppliers/{supplier['id']}/", {"notes": "closes at noon"})
    item = office.post(
        "/catalogue-items/",
        {
            "code": "W-RES",
            "name": "mixed-bed resin cartridge",
            "kind": "resin",
            "price": "30.00",
            "supplier": supplier["id"],
            "resin_volume": "1.2 L",
            "resin_capacity": "0.5 eq/L",
        },
    )
    office.patch(f"/catalogue-items/{item['id']}/", {"price": "31.50"})
    rule = office.post("/parts-rules/", {"item": item["id"], "work": "inspect", "per": "unit", "quantity": 1})
    office.patch(f"/parts-rules/{rule['id']}/", {"quantity": 2})
    office.delete(f"/parts-rules/{rule['id']}/")
    return item


def build(office: Person, item: Mapping[str, Any]) -> dict[str, Any]:
    customer = office.rows("/clients/")[0]
    site = office.post(
        "/sites/",
        {"client": customer["id"], "code": "W01", "name": "Walk-in", "latitude": 55.4, "longitude": 3.6},
    )
    assert site["time_zone"] == "Europe/Berlin"
    office.patch(f"/sites/{site['id']}/", {"access_notes": "Ring twice."})
    offer = office.post(
        "/sizing/",
        {
            "uses": [{"use": "reef", "aquarium_volume": "400 L", "weekly_change": "10 %"}],
            "feed_tds": "250 ppm",
            "lowest_line_pressure": "50 psi",
            "usual_temperature": "57 degF",
        },
    )
    assert offer
    unit = office.post(
        "/units/",
        {
            "site": site["id"],
            "code": "W01-1",
            "use": "reef",
            "kind": "ro_di",
            "commissioned_on": (datetime.now(UTC) - timedelta(days=200)).date().isoformat(),
            "template": "ro_di_two_resin",
            "product_tds_target": "1 ppm",
            "weekly_demand": "140 L",
        },
    )
    office.patch(f"/units/{unit['id']}/", {"notes": "Under the stand."})
    return {**unit, "site": site}


def cartridges(installer: Person, office: Person, unit: Mapping[str, Any], item: Mapping[str, Any]) -> None:
    positions = {(row["stage"], row["role"]): row for row in office.rows("/positions/") if row["unit"] == unit["id"]}
    extra = office.post("/positions/", {"unit": unit["id"], "order": 9, "stage": "resin", "role": "single"}, status=400)
    assert extra["errors"]
    membrane = next(row for row in office.rows("/catalogue-items/") if row["kind"] == "membrane" and row["rated_flow"])
    body = {
        "position": positions["membrane", "single"]["id"],
        "item": membrane["id"],
        "placed_at": ago(days=20),
    }
    wrong = installer.post("/placements/", body)
    corrected = installer.post(
        f"/placements/{wrong['id']}/correct/", {"serial_or_lot": "L-7", "reason": "read from the label"}
    )
    installer.post(f"/placements/{corrected['id']}/void/", {"reason": "it was fitted next door"})
    installer.post("/placements/", body)
    lead, lag_placement = (
        installer.post(
            "/placements/",
            {"position": positions["resin", role]["id"], "item": item["id"], "placed_at": ago(days=150)},
        )
        for role in ("lead", "lag")
    )
    installer.post(f"/placements/{lead['id']}/swap/", {"other": lag_placement["id"], "reason": "mistaken"})
    installer.post(
        "/placements/rotate/",
        {
            "unit": unit["id"],
            "stage": "resin",
            "item": item["id"],
            "removal": "exhausted",
            "rotated_at": ago(days=3),
        },
    )
    lag = positions["resin", "lag"]["id"]
    placement = next(
        row for row in installer.rows("/placements/") if row["position"] == lag and row["removed_at"] is None
    )
    installer.post(f"/placements/{placement['id']}/remove/", {"removal": "damaged", "removed_at": ago(hours=3)})


def readings(office: Person, installer: Person, meter: Person, client: Person, unit: Mapping[str, Any]) -> None:
    gauge = installer.post("/instruments/", {"name": "Walk meter", "unit": unit["id"], "measures": ["permeate_tds"]})
    installer.patch(f"/instruments/{gauge['id']}/", {"tds_factor": 0.5})
    installer.retire_and_take_back(f"/instruments/{gauge['id']}/")
    installer.delete(f"/instruments/{gauge['id']}/")
    body = {"reference": "walk-1", "feed_tds": "250 ppm", "permeate_tds": "8 ppm", "taken_at": ago(hours=2)}
    stored = installer.post(f"/units/{unit['id']}/readings/", body)
    again = installer.post(f"/units/{unit['id']}/readings/", body)
    assert stored["id"] == again["id"]
    installer.post(f"/units/{unit['id']}/readings/", {**body, "permeate_tds": "9 ppm"}, status=409)
    slip = installer.post(f"/units/{unit['id']}/readings/", {"feed_tds": "260 ppm", "reference": "walk-slip"})
    installer.post(f"/readings/{slip['id']}/void/", {"reason": "read at the neighbour's unit"})
    meter.post("/readings/", {"unit": "S39-1", "permeate_tds": "12 ppm", "reference": "walk-meter-1"})
    own = client.rows("/units/")[0]
    client.post("/readings/", {"unit": own["id"], "product_tds": "0 ppm", "feed_tds": "240 ppm"})
    day = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()
    upload = installer.post("/readings/upload/", files={"file": ("log.csv", READINGS.format(day=day))})
    assert installer.finished(upload)["result"]["stored"] == 1, upload
    water = installer.post("/feed-water-samples/upload/", files={"file": ("water.csv", FEED_WATER.format(day=day))})
    assert installer.finished(water)["result"]["stored"] == 1, water
    taken = {"site": unit["site"]["id"], "hardness": "8 dH"}
    sample = installer.post("/feed-water-samples/", {**taken, "taken_at": ago(hours=6)})
    office.post(f"/feed-water-samples/{sample['id']}/void/", {"reason": "taken behind the softener"})
    installer.post("/feed-water-samples/", {**taken, "taken_at": ago(hours=5)})
    office.post(f"/sites/{unit['site']['id']}/public-records/", files={"file": ("records.csv", PUBLIC_RECORDS)})
    sheet = ("clients.csv", "name,phone\nWalk Bar,040 5550100\n")
    brought = office.post("/imports/", files={"file": sheet}, data={"store": "true"})
    assert brought["pages"][0]["made"] == 1, brought
    verdict = installer.post("/diagnosis/", {"unit": unit["id"], "reading": {"permeate_tds": "9 ppm"}})
    assert verdict
    installer.post(f"/units/{unit['id']}/commissioning-check/", {"inlet_pressure": "3.5 bar", "product_tds": "0 ppm"})


def limits(owner: Person, unit: Mapping[str, Any]) -> None:
    row = owner.post("/exhaustion-limits/", {"use": "laboratory", "product_tds": "0.5 ppm"})
    owner.patch(f"/exhaustion-limits/{row['id']}/", {"product_tds": "0.4 ppm"})
    owner.delete(f"/exhaustion-limits/{row['id']}/")
    wait_until(lambda: bool(owner.get(f"/units/{unit['id']}/status/")), "a status")


def findings(installer: Person) -> None:
    open_findings = [row for row in installer.rows("/findings/") if row["state"] == "open"]
    installer.post(f"/findings/{open_findings[0]['id']}/confirm/", {"note": "seen"})
    installer.post(f"/findings/{open_findings[1]['id']}/dismiss/", {"note": "meter was dirty"})


def runs(office: Person) -> None:
    job = office.post("/forecasts/run/")
    assert office.finished(job)["state"] == "done"
    today = datetime.now(UTC).date()
    # All months of the demo take minutes; the newest that can be judged are judged like the others.
    cuts = {} if LONG else {"first_cut": (today - timedelta(days=170)).isoformat()}
    judged = office.post("/forecast-quality/", cuts)
    office.finished(judged)
    stopped = office.post("/forecast-quality/")
    office.post(f"/jobs/{stopped['id']}/stop/")


def mistakes(office: Person, unit: Mapping[str, Any]) -> None:
    """What was never used can go."""
    site = office.post(
        "/sites/",
        {"client": unit["site"]["client"], "code": "W02", "name": "Slip", "latitude": 55.4, "longitude": 3.6},
    )
    spare = office.post(
        "/units/",
        {
            "site": site["id"], "code": "W02-1", "use": "drinking", "kind": "ro", "template": "ro",
            "commissioned_on": "2026-01-05", "product_tds_target": "50 ppm", "weekly_demand": "60 L",
        },
    )  # fmt: skip
    positions = [row for row in office.rows("/positions/") if row["unit"] == spare["id"]]
    office.delete(f"/positions/{positions[-1]['id']}/")
    position = office.post("/positions/", {"unit": spare["id"], "order": 9, "stage": "membrane"})
    office.patch(f"/positions/{position['id']}/", {"order": 8})
    office.retire_and_take_back(f"/units/{spare['id']}/")
    office.delete(f"/units/{spare['id']}/")
    office.retire_and_take_back(f"/sites/{site['id']}/")
    office.delete(f"/sites/{site['id']}/")
    supplier = office.post("/suppliers/", {"name": "Never used (invented)"})
    office.delete(f"/suppliers/{supplier['id']}/")
    item = office.post("/catalogue-items/", {"code": "W-X", "name": "slip", "kind": "small_part", "price": "1.00"})
    office.retire_and_take_back(f"/catalogue-items/{item['id']}/")
    office.delete(f"/catalogue-items/{item['id']}/")
