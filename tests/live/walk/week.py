"""A week of the office: policy, people, a plan, appointments, the day itself, parts and orders."""

import re
import struct
import zlib
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import requests

from tests.effort import LONG
from tests.live.parts import Person
from tests.live.workers import wait_until

ZONE = ZoneInfo("Europe/Berlin")


def walk(owner: Person, office: Person, installers: Mapping[str, Person], client: Person) -> None:
    """Plan, publish, repair, offer, visit, report, order: by each person what that person does."""
    policy(owner)
    outlook(office)
    people(office)
    plan = published_plan(office)
    calendar(office)
    van(office)
    stops(office, plan)
    confirmed = appointments(office, installers, client)
    additions(office, confirmed)
    by_hand(office)
    day_of_work(office, installers)
    orders(office)
    told(office)


def policy(owner: Person) -> None:
    owner.patch("/policy/", {"visit_cost": 26.0})
    assert owner.get("/policy/")["visit_cost"] == 26.0
    owner.patch("/policy/", {"visit_cost": None})


def outlook(office: Person) -> None:
    """What another policy would do takes long to wait for; prices of bad water against intervals take longer still."""
    preview = office.post("/policy/preview/", {"visit_cost": 40.0})
    if LONG:
        assert office.finished(preview)["result"]["changes"] == ["visit_cost"]
    else:
        office.post(f"/jobs/{preview['id']}/stop/")
        assert office.finished(preview)["state"] == "stopped"
    frontier = office.post("/policy/frontier/")
    office.post(f"/jobs/{frontier['id']}/stop/")
    assert office.finished(frontier)["result"] is None


def people(office: Person) -> None:
    newcomer = next(row for row in office.rows("/members/") if row["role"] == "office")
    body = {"membership": newcomer["id"], "name": "Stand-in", "home_latitude": 55.4, "home_longitude": 3.6}
    stand_in = office.post("/installers/", body)
    office.patch(f"/installers/{stand_in['id']}/", {"van": "van 9"})
    absent_on = (datetime.now(ZONE).date() + timedelta(days=60)).isoformat()
    absence = office.post(
        "/absences/",
        {
            "installer": stand_in["id"],
            "first_day": absent_on,
            "last_day": absent_on,
        },
    )
    office.patch(f"/absences/{absence['id']}/", {"first_day": absent_on, "last_day": absent_on, "reason": "course"})
    office.delete(f"/absences/{absence['id']}/")
    office.retire_and_take_back(f"/installers/{stand_in['id']}/")
    office.delete(f"/installers/{stand_in['id']}/")
    first, second = office.rows("/sites/")[:2]
    pair = office.post("/site-pairs/", {"first_site": first["id"], "second_site": second["id"], "rule": "together"})
    office.delete(f"/site-pairs/{pair['id']}/")


def published_plan(office: Person) -> dict[str, Any]:
    office.post("/visits/propose/")
    job = office.finished(office.post("/plans/", {"seconds": 1, "days": 5}))
    plan = office.get(f"/plans/{job['result']['plan']}/")
    office.post(f"/plans/{plan['id']}/write-parts-lists/")
    published = office.post(f"/plans/{plan['id']}/publish/")
    assert published["state"] == "published"
    replanned = office.post(
        f"/plans/{plan['id']}/replan/",
        {
            "urgent_calls": [{"unit": office.rows("/units/")[3]["id"], "kind": "inspect", "reason": "no water"}],
            "seconds": 1,
            "publish": True,
        },
    )
    office.post(f"/plans/{replanned['id']}/offer/")
    for row in all_visits(office):
        # the walk goes on from proposals
        if row["state"] == "offered":
            office.post(f"/visits/{row['id']}/unconfirm/", {"note": "asked by phone"})
    return dict(replanned)


def calendar(office: Person) -> None:
    """A telephone subscribes, reads the rounds that were published, and is shut out again."""
    installer = office.rows("/rounds/")[0]["installer"]
    feed = office.post("/calendar-feeds/", {"installer": installer, "name": "telephone"})
    path = urlsplit(feed["address"]).path
    read = requests.get(f"{office.parts.address}{path}", timeout=60)
    assert read.status_code == 200
    assert read.content.startswith(b"BEGIN:VCALENDAR")
    office.delete(f"/calendar-feeds/{feed['id']}/")
    assert requests.get(f"{office.parts.address}{path}", timeout=60).status_code == 404


def van(office: Person) -> None:
    """Load the van of the next round by one call, and put a wrong movement of stock right."""
    today = datetime.now(ZONE).date().isoformat()
    day = office.rows(f"/rounds/?plan__state=published&day__gte={today}")[0]
    load = office.get(f"/rounds/{day['id']}/van-load/")
    moved = office.post(f"/rounds/{day['id']}/confirm-load/", {"version": load["version"]})
    assert len(moved) == len(load["to_van"]) + len(load["to_store"])
    counted = next(row for row in office.rows("/stock-levels/") if row["installer"] is None)
    returned = {"item": counted["item"], "kind": "return", "pieces": 2, "reason": "the unit was sold"}
    movement = office.post("/stock-movements/", returned)
    office.post(f"/stock-movements/{movement['id']}/void/", {"reason": "it was another item"})


def stops(office: Person, plan: Mapping[str, Any]) -> None:
    rounds = office.get(f"/plans/{plan['id']}/")["rounds"]
    round_ = max(rounds, key=lambda row: len(row["stops"]))
    stop = round_["stops"][-1]
    office.post(f"/stops/{stop['id']}/lock/", {"reason": "The client takes the morning off."})
    office.post(f"/visits/{stop['visit']}/unlock/", {"note": "no longer"})
    preview = office.post(f"/stops/{stop['id']}/preview-move/", {"place": 1})
    codes = [warning["code"] for warning in preview.get("warnings", [])]
    office.post(f"/stops/{stop['id']}/move/", {"place": 1, "acknowledge": codes, "reason": "on the way"})


def appointments(office: Person, installers: Mapping[str, Person], client: Person) -> dict[str, Any]:
    """Offer, accept, confirm, take back, cancel; the visit that the client accepted."""

    def by_link() -> None:
        """The client follows the link of the letter, without signing in."""
        letter = next(row for row in client.rows("/messages/") if row["kind"] == "offered")
        token = re.search(r"/answer/([^/]+)/", letter["body"])
        assert token is not None, letter["body"]
        stranger = Person(office.parts, office.written)
        stranger.post(f"/answers/{token.group(1)}/", {"answer": "decline", "note": "not this week"})

    def signed_in() -> None:
        client.post(f"/visits/{visit['id']}/decline/", {"reason": "We are away."})

    proposed = [row for row in all_visits(office) if row["state"] == "proposed" and row["planned"]]
    own_sites = {row["id"] for row in client.rows("/sites/")}
    visit = next(row for row in all_visits(office) if row["site"] in own_sites and row["state"] == "proposed")
    opens_at = at(working_day(2), 9)
    windows = {"windows": [window(opens_at), window(at(working_day(3), 9))], "outside_access_hours": True}
    for decline in (by_link, signed_in):
        office.post(f"/visits/{visit['id']}/offer/", windows)
        client.post(f"/visits/{visit['id']}/ask-for-call/", {"note": "after six"})
        decline()
        visit = proposed_again(office, visit)
    office.post(f"/visits/{visit['id']}/offer/", windows)
    accepted = client.post(f"/visits/{visit['id']}/accept/", {"opens_at": opens_at.isoformat()})
    assert accepted["state"] == "confirmed"
    other = next(row for row in proposed if row["site"] != visit["site"])
    site = office.get(f"/sites/{other['site']}/")
    office.patch(f"/clients/{site['client']}/", {"email": ""})
    office.post(
        f"/visits/{other['id']}/confirm/",
        {"appointment_at": at(working_day(4), 10).isoformat(), "outside_access_hours": True},
    )
    # nobody has told them of another time yet: it stands on the call list
    office.post(
        f"/visits/{other['id']}/confirm/",
        {"appointment_at": at(working_day(4), 11).isoformat(), "outside_access_hours": True},
    )
    office.post(f"/visits/{other['id']}/unconfirm/", {"note": "asked by phone"})
    office.post(f"/visits/{other['id']}/cancel/", {"note": "sold the tank"})
    return dict(accepted)


def all_visits(office: Person) -> list[dict[str, Any]]:
    """Every visit, by ids, which stay: best days are moved by the worker while one turns the pages."""
    return office.rows("/visits/?after=0")


def proposed_again(office: Person, declined: Mapping[str, Any]) -> dict[str, Any]:
    """The proposal that stands at the site after its offer was declined.

    It is the same visit, unless the worker proposed another one at the site while the client was thinking: then that
    one took over the work, and the declined one is cancelled.
    """
    row = office.get(f"/visits/{declined['id']}/")
    if row["state"] == "proposed":
        return dict(row)
    assert row["state"] == "cancelled", row
    standing = [other for other in all_visits(office) if (other["site"], other["state"]) == (row["site"], "proposed")]
    assert len(standing) == 1, (row, standing)
    return standing[0]


def additions(office: Person, visit: Mapping[str, Any]) -> None:
    """A confirmed visit does not grow by itself: what is new at its site waits for the office."""
    unit = next(row for row in office.rows("/units/") if row["site"] == visit["site"])
    for kind in ("verify_instruments", "repair"):
        need = {"unit": unit["id"], "kind": kind, "reason": "seen by the neighbour", "is_urgent": True}
        office.post("/needs/", need)
    office.post("/visits/propose/")
    first, second = office.get(f"/visits/{visit['id']}/")["additions"][:2]
    grown = office.post(f"/visits/{visit['id']}/accept-additions/", {"needs": [first["need"]]})
    assert first["need"] in {task["need"] for task in grown["tasks"]}
    office.post(f"/visits/{visit['id']}/decline-additions/", {"needs": [second["need"]]})


def by_hand(office: Person) -> None:
    unit = office.rows("/units/")[5]
    need = office.post("/needs/", {"unit": unit["id"], "kind": "inspect", "reason": "noise from the pump"})
    office.post(f"/needs/{need['id']}/drop/", {"note": "gone after a flush"})
    counted = next(row for row in office.rows("/stock-levels/") if row["installer"] is None)
    office.delete(f"/stock-levels/{counted['id']}/")
    level = office.post("/stock-levels/", {"item": counted["item"], "quantity": 12})
    office.patch(f"/stock-levels/{level['id']}/", {"quantity": 11})


def day_of_work(office: Person, installers: Mapping[str, Person]) -> None:
    """Drive to a visit and report the work; close the next one without a report; find nobody in at the third."""
    by_name = {row["name"].split()[0].lower(): row["id"] for row in office.rows("/installers/")}
    name, installer = next(iter(installers.items()))
    visits = visits_to_inspect(office, 3)
    for number, row in enumerate(visits):
        body = {"appointment_at": at(working_day(number + 1), 11).isoformat(), "installer": by_name[name]}
        office.post(f"/visits/{row['id']}/confirm/", {**body, "outside_access_hours": True})
        installer.post(f"/visits/{row['id']}/depart/")
    reported, completed, shut = visits
    installer.post(f"/visits/{reported['id']}/begin/")
    tasks = installer.get(f"/visits/{reported['id']}/")["tasks"]
    body = {
        "site": reported["site"],
        "visit": reported["id"],
        "reference": "W01-report-1",
        "done_at": datetime.now(UTC).isoformat(),
        "minutes": 40,
        "work": [{"action": "inspect", "unit": tasks[0]["unit"], "note": "all dry"}],
        "not_done": [{"need": task["need"], "reason": "no time"} for task in tasks if task["state"] == "open"],
        "readings": [{"unit": tasks[0]["unit"], "permeate_tds": "10 ppm", "reference": "W01-report-1-a"}],
    }
    record = installer.post("/service-records/", body)
    assert installer.post("/service-records/", body)["id"] == record["id"]
    installer.post(
        f"/service-records/{record['id']}/photos/",
        files={"file": ("unit.png", one_pixel(), "image/png")},
        data={"caption": "below the sink"},
    )
    installer.post(
        "/reading-photos/",
        files={"file": ("meter.png", one_pixel(), "image/png")},
        data={"reading": record["readings"][0]},
    )
    right = {**body, "reference": "W01-report-2", "minutes": 45, "reason": "it took longer"}
    corrected = installer.post(f"/service-records/{record['id']}/correct/", right)
    assert (corrected["corrects"], corrected["visit"]) == (record["id"], reported["id"])
    elsewhere = {key: body[key] for key in ("site", "done_at", "work")}
    elsewhere = installer.post("/service-records/", {**elsewhere, "reference": "W01-report-3"})
    installer.post(f"/service-records/{elsewhere['id']}/void/", {"reason": "written down for the wrong house"})
    installer.post(f"/visits/{completed['id']}/begin/")
    outcomes = [
        {"need": task["need"], "done": True}
        if task["kind"] == "inspect"
        else {"need": task["need"], "done": False, "reason": "next time"}
        for task in installer.get(f"/visits/{completed['id']}/")["tasks"]
    ]
    installer.post(f"/visits/{completed['id']}/complete/", {"tasks": outcomes})
    installer.post(f"/visits/{shut['id']}/not-done/", {"obstacle": "nobody_in"})


def visits_to_inspect(office: Person, count: int) -> list[dict[str, Any]]:
    """Proposed visits, each to a site of its own, that have an inspection among their tasks."""
    busy = {row["site"] for row in all_visits(office) if row["state"] not in {"proposed", "cancelled", "done"}}
    units = {row["site"]: row for row in office.rows("/units/") if row["site"] not in busy}
    for unit in list(units.values())[:count]:
        office.post(
            "/needs/", {"unit": unit["id"], "kind": "inspect", "reason": "seen from the road", "is_urgent": True}
        )
    office.post("/visits/propose/")
    visits = [row for row in all_visits(office) if row["state"] == "proposed"]
    return [row for row in visits if any(task["kind"] == "inspect" for task in row["tasks"])][:count]


def orders(office: Person) -> None:
    office.post("/purchase-orders/draft/")
    # Of one whom nothing is drafted for: how much the company lacks today is not known here.
    supplier = office.post("/suppliers/", {"name": "Slow Weir Tubing (invented)", "lead_time_days": 6})
    body = {"code": "W-O", "name": "tubing, 10 m", "kind": "small_part", "price": "7.50", "supplier": supplier["id"]}
    item = office.post("/catalogue-items/", body)
    order = office.post(
        "/purchase-orders/", {"supplier": item["supplier"], "lines": [{"item": item["id"], "packs": 2}]}
    )
    office.patch(f"/purchase-orders/{order['id']}/", {"note": "to the back door"})
    placed = office.post(f"/purchase-orders/{order['id']}/place/", {"below_minimum_order_value": True})
    due = (datetime.now(ZONE).date() + timedelta(days=9)).isoformat()
    office.post(f"/purchase-orders/{order['id']}/expect/", {"expected_on": due})
    line = placed["lines"][0]
    office.post(
        f"/purchase-orders/{order['id']}/receive/",
        {"reference": "W01-note-1", "pieces": [{"line": line["id"], "quantity": line["quantity"]}]},
    )
    delivery = office.get(f"/purchase-orders/{order['id']}/")["deliveries"][0]
    wrong = {"delivery": delivery["id"], "reason": "the crate was somebody else's"}
    office.post(f"/purchase-orders/{order['id']}/void-delivery/", wrong)
    other = office.post(
        "/purchase-orders/", {"supplier": item["supplier"], "lines": [{"item": item["id"], "packs": 1}]}
    )
    office.patch(f"/suppliers/{item['supplier']}/", {"email": "orders@supplier.example"})
    office.post(f"/purchase-orders/{other['id']}/send/", {"below_minimum_order_value": True})
    office.post(f"/purchase-orders/{other['id']}/cancel/", {"note": "ordered twice"})


def told(office: Person) -> None:
    to_call = [row for row in office.rows("/messages/") if row["state"] == "to_call"]
    office.post(f"/messages/{to_call[0]['id']}/called/", {"note": "agreed"})
    wait_until(lambda: bool(office.parts.letters), "a letter that beat sends")


def working_day(number: int) -> date:
    """That many days from Monday to Friday after today: soon enough that what is urgent can be added to a visit."""
    day = datetime.now(ZONE).date()
    for _ in range(number):
        day += timedelta(days=1)
        while day.weekday() > 4:
            day += timedelta(days=1)
    return day


def at(day: date, hour: int) -> datetime:
    return datetime.combine(day, time(hour), ZONE)


def window(opens_at: datetime) -> dict[str, str]:
    return {"opens_at": opens_at.isoformat(), "closes_at": (opens_at + timedelta(hours=1)).isoformat()}


def one_pixel() -> bytes:
    """A PNG of one grey pixel, made by the rules of ISO/IEC 15948."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    header = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0\x80")) + chunk(b"IEND", b"")
    )
