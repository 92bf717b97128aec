"""When the day goes wrong: the calls of the README's list, through HTTP alone.

Somebody falls ill on a day with confirmed visits, and the repaired week is published at the first try; a client
declines by the link of the letter, and the round closes up; a client reports that no water comes, and is answered.
"""

import re
from datetime import date
from typing import Any

from tests.live.parts import Person
from tests.live.workers import wait_until


def walk(office: Person, client: Person) -> None:
    """By each person what that person does."""
    plan = whole_week(office)
    plan = somebody_is_ill(office, plan)
    declined_by_link(office, plan)
    reported(office, client)


def whole_week(office: Person) -> dict[str, Any]:
    """A plan of the default days, which cover every time that somebody was told."""
    job = office.finished(office.post("/plans/", {"seconds": 1}))
    plan = office.get(f"/plans/{job['result']['plan']}/")
    for visit in office.rows("/visits/?state=confirmed"):
        days = (date.fromisoformat(visit["appointment_at"][:10]) - date.fromisoformat(plan["first_day"])).days
        assert days < plan["days"], (visit, plan["first_day"], plan["days"])
    published: dict[str, Any] = office.post(f"/plans/{plan['id']}/publish/")
    return published


def somebody_is_ill(office: Person, plan: dict[str, Any]) -> dict[str, Any]:
    """The faults name whom nobody can visit, with the call that repairs the plan."""
    confirmed = {row["id"] for row in office.rows("/visits/?state=confirmed")}
    day = next(row for row in plan["rounds"] if any(stop["visit"] in confirmed for stop in row["stops"]))
    visits = {stop["visit"] for stop in day["stops"]}
    office.post("/absences/", {"installer": day["installer"], "first_day": day["day"], "last_day": day["day"]})
    faults = office.get(f"/plans/{plan['id']}/")["faults"]
    broken = [row for row in faults if row["code"] == "installer_away" and row["installer"] == day["installer_name"]]
    assert {int(row["visit"]) for row in broken} == visits
    (path,) = {row["settle"]["path"] for row in broken}
    repaired = office.post(path.removeprefix("/api/v1"), {"seconds": 1})
    published: dict[str, Any] = office.post(f"/plans/{repaired['id']}/publish/")
    assert published["state"] == "published"
    rounds = [row for row in published["rounds"] if (row["day"], row["installer"]) == (day["day"], day["installer"])]
    assert not [stop for row in rounds for stop in row["stops"]]
    kept = {stop["visit"] for row in published["rounds"] for stop in row["stops"]}
    named = {int(row["visit"]) for row in published["faults"]} | {row["visit"] for row in published["differences"]}
    assert visits & confirmed <= kept | named
    return published


def declined_by_link(office: Person, plan: dict[str, Any]) -> None:
    """The stop leaves its round at once, and whoever drives it drives no further for it."""
    before = len(office.parts.letters)
    offered = office.post(f"/plans/{plan['id']}/offer/")
    addresses = [letter["email"] for letter in offered["letters"] if letter["email"] and letter["visit"]]
    visit = next(letter["visit"] for letter in offered["letters"] if letter["email"] == addresses[0])
    office_round = next(row for row in plan["rounds"] if any(stop["visit"] == visit for stop in row["stops"]))
    links: list[str] = []

    def has_come() -> bool:
        # earlier ones hold links of offers that stand no more
        for letter in office.parts.letters[before:]:
            if addresses[0] in str(letter["To"]):
                links.extend(re.findall(r"/answer/([^/\s]+)/", letter.get_content()))
        return bool(links)

    wait_until(has_come, f"the letter to {addresses[0]}")
    Person(office.parts, office.written).post(f"/answers/{links[-1]}/", {"answer": "decline", "note": "away"})
    now = office.get(f"/visits/{visit}/")
    assert (now["state"], now["planned"]) == ("proposed", None)
    healed = office.get(f"/plans/{plan['id']}/")
    assert visit not in {stop["visit"] for row in healed["rounds"] for stop in row["stops"]}
    assert [row["reason"] for row in healed["unserved"] if row["visit"] == visit] == ["declined"]
    assert not [row for row in healed["faults"] if row["prevents_publishing"]]
    after = next((row for row in healed["rounds"] if row["id"] == office_round["id"]), None)
    # no word of the way home: without the stop, lunch may be eaten earlier at a place that is further from the next one
    assert after is None or after["driving_km"] <= office_round["driving_km"]


def reported(office: Person, client: Person) -> None:
    """A client reports that no water comes, reads what to do, and is called."""
    unit = client.rows("/units/")[0]
    client.post(f"/units/{unit['id']}/readings/", {"observations": {"no_water": True}})
    calls: list[dict[str, Any]] = []

    def is_on_the_list() -> bool:
        kinds = {row["kind"]: row["matters"] for row in office.get("/attention/")["by_kind"]}
        calls[:] = [row for row in kinds["calls"] if row["unit"] == unit["id"]]
        return bool(calls)

    wait_until(is_on_the_list, "the call that was promised")
    answers = [row for row in client.rows("/messages/") if row["kind"] == "report_noted"]
    assert any("gives no water" in row["body"] for row in answers)
    assert any("gives no water" in sentence for sentence in client.get(f"/units/{unit['id']}/status/")["findings"])
    office.post(calls[0]["settle"]["path"].removeprefix("/api/v1"), {"note": "the main was shut"})
    client.post(f"/units/{unit['id']}/readings/", {"observations": {"no_water": False}})
