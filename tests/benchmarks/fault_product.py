"""Sends a history through the product as its people would, day by day, and notes what it then says of the unit."""

import logging
import os
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import time_machine

from tests.strangers.fault_histories.parts import Item
from tests.strangers.fault_histories.records import Change, History, Observation, Sample

ZONE = ZoneInfo("Europe/Berlin")
EVENING = time(21, 0)

# What somebody who saw it would tick, by its short name; and what else, by their words.
TICKED = {
    "leak": ("water_on_floor",),
    "drain": ("concentrate_never_stops",),
    "noise": ("unusual_noise",),
    "slow": ("slow_filling",),
    "taste": ("taste_or_odour",),
    "off": ("is_switched_off",),
}
TICKED_BY_WORDS = {
    "pump starts again and again": "pump_cycles_rapidly",
    "only a trickle": "tap_soon_trickles",
}


@dataclass(frozen=True)
class Said:
    """A finding that was open at the end of a day."""

    cause: str
    rule: str
    title: str
    opened_on: date
    sentence: str


@dataclass(frozen=True)
class Day:
    """What the product said at the end of a day on which something came in: findings, the surest first, and doubts."""

    day: date
    findings: tuple[Said, ...]
    flags: tuple[str, ...]
    refused: tuple[str, ...]


def start() -> None:
    """Make a database of this process alone, in memory."""
    os.environ["DATABASE_URL"] = "sqlite://:memory:"
    os.environ.pop("REDIS_URL", None)
    os.environ.pop("TABLE_SERVICE_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    logging.disable(logging.WARNING)

    from fleet.services.consequences import subscribe

    # Needs and visits rest on findings and change none of them.
    subscribe("needs", lambda **_: {})


class Desk:
    """A company of its own for one history, and its office's way in."""

    def __init__(self, history: History, code: str, items: Mapping[str, Item]) -> None:
        from rest_framework.test import APIClient

        from accounts.services import issue_token
        from tests import factories

        self.history = history
        self.code = code
        begin = datetime.combine(history.commissioned_on, time(7, 0), ZONE)
        company = factories.CompanyFactory(time_zone=ZONE.key)
        office = factories.MembershipFactory(company=company, role="office")
        customer = factories.ClientFactory(company=company)
        self.api = APIClient()
        with time_machine.travel(begin, tick=False):
            _, secret = issue_token(by=office, membership=office, name="study", now=begin, ttl=timedelta(days=1800))
            self.api.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
            self.items = {item.code: self._item(item) for item in items.values()}
            self.site = self._post(
                "/sites/", {"client": customer.pk, "code": f"{code}S", "name": code, "latitude": 55.4, "longitude": 3.6}
            )
            self.unit = self._post("/units/", self._unit(begin))
        self.places = {(place["stage"], place["role"]): place["id"] for place in self.unit["positions"]}

    def live(self) -> Iterator[Day]:
        """Hand in each day's papers, and ask in the evening."""
        from django.db import transaction

        papers: dict[date, list[Callable[[], Any]]] = defaultdict(list)
        rows: dict[date, list[str]] = defaultdict(list)
        for sample in self.history.samples:
            papers[sample.at.date()].append(lambda sample=sample: self._sample(sample))
        for change in self.history.changes:
            papers[change.at.date()].append(lambda change=change: self._change(change))
        for observation in self.history.observations:
            papers[observation.at.date()].append(lambda observation=observation: self._observation(observation))
        for row in self.history.rows:
            rows[row.at.date()].append(row.text)
        for day in sorted(papers.keys() | rows.keys()):
            with time_machine.travel(datetime.combine(day, EVENING, ZONE), tick=False):
                # One transaction, so that what follows is made anew once.
                with transaction.atomic():
                    for hand_in in papers[day]:
                        hand_in()
                    flags, refused = self._upload(day, rows[day]) if rows[day] else ((), ())
                yield Day(day, self._findings(), flags, refused)

    def _post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = self.api.post(f"/api/v1{path}", body, format="json")
        if answer.status_code >= 300:
            raise RuntimeError(f"{self.history.name}: POST {path} {body}: {answer.status_code} {answer.content!r}")
        created: dict[str, Any] = answer.json()
        return created

    def _item(self, item: Item) -> int:
        body = {
            "code": item.code,
            "name": f"{item.stage} {item.code}",
            "kind": item.stage,
            "price": "20.00",
            **item.label,
        }
        identity: int = self._post("/catalogue-items/", body)["id"]
        return identity

    def _unit(self, begin: datetime) -> dict[str, Any]:
        layout, history = self.history.layout, self.history
        body: dict[str, Any] = {
            "site": self.site["id"],
            "code": self.code,
            "use": layout.use,
            "kind": layout.kind,
            "commissioned_on": history.commissioned_on.isoformat(),
            "tank": layout.tank,
            "has_booster_pump": layout.booster,
            "has_float_valve": layout.float_valve,
            "has_automatic_shutoff_valve": layout.shut_off,
            "has_check_valve": layout.check_valve,
            "has_pressure_gauge": "inlet pressure" in history.header.lower(),
            "restrictor": "capillary" if layout.capillary else "orifice",
            "restrictor_flow": f"{history.restrictor_l_per_day:.0f} L/day",
            "restrictor_pressure": f"{history.restrictor_bar:.2f} bar",
            "design_recovery_fraction": history.design_recovery,
            "totaliser": layout.totaliser,
            "product_tds_target": f"{layout.target_tds:g} mg/L",
            "weekly_demand": f"{layout.weekly_litres:g} L",
            "positions": [
                {
                    "stage": place.stage,
                    "role": place.role,
                    "item": self.items[place.item],
                    "placed_at": begin.isoformat(),
                }
                for place in layout.train
            ],
        }
        if layout.tank_litres:
            body["tank_volume"] = f"{layout.tank_litres:g} L"
            body["tank_precharge"] = f"{layout.precharge_bar:g} bar"
        return body

    def _sample(self, sample: Sample) -> None:
        self._post(
            "/feed-water-samples/",
            {
                "site": self.site["id"],
                "taken_at": sample.at.replace(tzinfo=ZONE).isoformat(),
                "hardness": f"{sample.hardness:.0f} mg/L as CaCO3",
                "alkalinity": f"{sample.alkalinity:.0f} mg/L as CaCO3",
                "ph": f"{sample.ph:.1f} pH",
                "total_chlorine": f"{sample.chlorine:.2f} mg/L",
            },
        )

    def _observation(self, observation: Observation) -> None:
        codes = [*TICKED[observation.reach]] if observation.reach else []
        codes += [code for words, code in TICKED_BY_WORDS.items() if words in observation.words]
        if codes:
            self._post(
                f"/units/{self.unit['id']}/readings/",
                {
                    "taken_at": observation.at.replace(tzinfo=ZONE).isoformat(),
                    "source": observation.by,
                    "note": observation.words,
                    "observations": dict.fromkeys(codes, True),
                },
            )

    def _change(self, change: Change) -> None:
        at = change.at.replace(tzinfo=ZONE).isoformat()
        body: dict[str, Any] = {"item": self.items[change.item], "removal": change.removal}
        if change.is_rotation:
            self._post(
                "/placements/rotate/", {**body, "unit": self.unit["id"], "stage": change.stage, "rotated_at": at}
            )
        else:
            place = self.places[change.stage, change.role]
            self._post("/placements/", {**body, "position": place, "placed_at": at})

    def _upload(self, day: date, rows: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        from django.core.files.uploadedfile import SimpleUploadedFile

        content = "\n".join([self.history.header, *rows]) + "\n"
        sent = SimpleUploadedFile(f"{self.code}-{day}.csv", content.encode(), content_type="text/csv")
        answer = self.api.post("/api/v1/readings/upload/", {"file": sent}, format="multipart")
        if answer.status_code != 201:
            raise RuntimeError(f"{self.history.name}: {day}: {answer.status_code} {answer.content!r}")
        batch = answer.json()
        flags = tuple(flag["code"] for row in batch["flagged_rows"] for flag in row["flags"])
        return flags, tuple(fault["sentence"] for row in batch["refused_rows"] for fault in row["faults"])

    def _findings(self) -> tuple[Said, ...]:
        answer = self.api.get(f"/api/v1/units/{self.unit['id']}/findings/")
        if answer.status_code != 200:
            raise RuntimeError(f"{self.history.name}: {answer.status_code} {answer.content!r}")
        return tuple(
            Said(
                row["cause"],
                row["rule"],
                row["title"],
                datetime.fromisoformat(row["opened_at"]).astimezone(ZONE).date(),
                row["installer_sentence"],
            )
            for row in answer.json()["findings"]
        )
