"""Sends histories through the product as their people would, day by day, and notes what it then says of the units."""

import logging
import os
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import time_machine

from tests.strangers.fault_histories.parts import Item
from tests.strangers.fault_histories.records import Change, History, Observation, Sample

ZONE = ZoneInfo("Europe/Berlin")
EVENING = time(21, 0)
TOKEN_DAYS = 1800

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
    os.environ["REQUEST_BUDGET_PERCENT"] = "0"
    os.environ.pop("REDIS_URL", None)
    os.environ.pop("TABLE_SERVICE_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    logging.disable(logging.WARNING)

    from fleet.services import follow_up
    from fleet.services.consequences import subscribe

    # Needs and visits rest on findings and change none of them; findings work out indicators by themselves, and read
    # none of the stored ones.
    subscribe("needs", lambda **_: {})
    follow_up.recompute = lambda **_: {}


@dataclass
class _Papers:
    """What one unit's people hand in on one day."""

    hand_in: list[Callable[[], Any]] = field(default_factory=list)
    rows: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _UnitOf:
    """Ids of the rows of one history."""

    unit: int
    site: int
    places: Mapping[tuple[str, str], int]
    header: str


def code_of(history: History) -> str:
    """Code of the unit in the log."""
    return history.rows[0].text[:4]


class Desk:
    """The office of one company that looks after all units of some histories, and its way in.

    A day of all histories is one transaction, so that what follows is made anew once for all units that it concerns.
    """

    def __init__(self, histories: Sequence[History], items: Mapping[str, Item]) -> None:
        self.histories = histories
        self.catalogue = items
        self.api: Any = None
        self.company: Any = None
        self.office: Any = None
        self.signed_in_on = date.min
        self.items: dict[str, int] = {}
        self.units: dict[str, _UnitOf] = {}

    def live(self) -> list[list[Day]]:
        """Hand in each day's papers, and ask in the evening; each history's days, in the order of the histories."""
        papers: dict[date, dict[str, _Papers]] = defaultdict(lambda: defaultdict(_Papers))
        codes = [code_of(history) for history in self.histories]
        if len(set(codes)) < len(codes):
            raise ValueError("two histories have one code")
        for code, history in zip(codes, self.histories, strict=True):
            for sample in history.samples:
                papers[sample.at.date()][code].hand_in.append(partial(self._sample, code, sample))
            for change in history.changes:
                papers[change.at.date()][code].hand_in.append(partial(self._change, code, change))
            for observation in history.observations:
                papers[observation.at.date()][code].hand_in.append(partial(self._observation, code, observation))
            for row in history.rows:
                papers[row.at.date()][code].rows.append(row.text)
        openings: dict[date, list[History]] = defaultdict(list)
        for history in self.histories:
            openings[history.commissioned_on].append(history)
        self._found(min(openings))
        days_by_code: dict[str, list[Day]] = {code: [] for code in codes}
        for day in sorted(papers.keys() | openings.keys()):
            if (day - self.signed_in_on).days > TOKEN_DAYS - 2:
                self._sign_in(day)
            for history in openings.get(day, ()):
                self._open(history)
            if day in papers:
                for code, said in self._live_day(day, papers[day]).items():
                    days_by_code[code].append(said)
        return [days_by_code[code] for code in codes]

    def _live_day(self, day: date, papers: Mapping[str, _Papers]) -> dict[str, Day]:
        from django.db import transaction

        with time_machine.travel(datetime.combine(day, EVENING, ZONE), tick=False):
            with transaction.atomic():
                for of_unit in papers.values():
                    for hand_in in of_unit.hand_in:
                        hand_in()
                told = {
                    code: self._upload(code, day, of_unit.rows) if of_unit.rows else ((), ())
                    for code, of_unit in papers.items()
                }
            return {code: Day(day, self._findings(code), *told[code]) for code in papers}

    def _found(self, day: date) -> None:
        from rest_framework.test import APIClient

        from tests import factories

        self.company = factories.CompanyFactory(time_zone=ZONE.key)
        self.office = factories.MembershipFactory(company=self.company, role="office")
        self.api = APIClient()
        self._sign_in(day)
        with time_machine.travel(datetime.combine(day, time(6, 0), ZONE), tick=False):
            self.items = {item.code: self._item(item) for item in self.catalogue.values()}

    def _sign_in(self, day: date) -> None:
        from accounts.models import AccessToken
        from accounts.services import issue_token

        begin = datetime.combine(day, time(5, 0), ZONE)
        with time_machine.travel(begin, tick=False):
            _, secret = issue_token(
                by=self.office,
                membership=self.office,
                name="study",
                now=begin,
                ttl=timedelta(days=TOKEN_DAYS),
                scopes=AccessToken.Scope.values,
            )
        self.api.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        self.signed_in_on = day

    def _open(self, history: History) -> None:
        from tests import factories

        begin = datetime.combine(history.commissioned_on, time(7, 0), ZONE)
        code = code_of(history)
        customer = factories.ClientFactory(company=self.company)
        with time_machine.travel(begin, tick=False):
            site = self._post(
                "/sites/", {"client": customer.pk, "code": f"{code}S", "name": code, "latitude": 55.4, "longitude": 3.6}
            )
            unit = self._post("/units/", self._unit(history, code, site["id"], begin))
        places = {(place["stage"], place["role"]): place["id"] for place in unit["positions"]}
        self.units[code] = _UnitOf(unit["id"], site["id"], places, history.header)

    def _post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = self.api.post(f"/api/v1{path}", body, format="json")
        if answer.status_code >= 300:
            raise RuntimeError(f"POST {path} {body}: {answer.status_code} {answer.content!r}")
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

    def _unit(self, history: History, code: str, site: int, begin: datetime) -> dict[str, Any]:
        layout = history.layout
        body: dict[str, Any] = {
            "site": site,
            "code": code,
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

    def _sample(self, code: str, sample: Sample) -> None:
        self._post(
            "/feed-water-samples/",
            {
                "site": self.units[code].site,
                "taken_at": sample.at.replace(tzinfo=ZONE).isoformat(),
                "hardness": f"{sample.hardness:.0f} mg/L as CaCO3",
                "alkalinity": f"{sample.alkalinity:.0f} mg/L as CaCO3",
                "ph": f"{sample.ph:.1f} pH",
                "total_chlorine": f"{sample.chlorine:.2f} mg/L",
            },
        )

    def _observation(self, code: str, observation: Observation) -> None:
        codes = [*TICKED[observation.reach]] if observation.reach else []
        codes += [code for words, code in TICKED_BY_WORDS.items() if words in observation.words]
        if codes:
            self._post(
                f"/units/{self.units[code].unit}/readings/",
                {
                    "taken_at": observation.at.replace(tzinfo=ZONE).isoformat(),
                    "source": observation.by,
                    "note": observation.words,
                    "observations": dict.fromkeys(codes, True),
                },
            )

    def _change(self, code: str, change: Change) -> None:
        at = change.at.replace(tzinfo=ZONE).isoformat()
        body: dict[str, Any] = {"item": self.items[change.item], "removal": change.removal}
        if change.is_rotation:
            self._post(
                "/placements/rotate/", {**body, "unit": self.units[code].unit, "stage": change.stage, "rotated_at": at}
            )
        else:
            place = self.units[code].places[change.stage, change.role]
            self._post("/placements/", {**body, "position": place, "placed_at": at})

    def _upload(self, code: str, day: date, rows: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        from django.core.files.uploadedfile import SimpleUploadedFile

        from accounts.jobs import claims

        content = "\n".join([self.units[code].header, *rows]) + "\n"
        sent = SimpleUploadedFile(f"{code}-{day}.csv", content.encode(), content_type="text/csv")
        answer = self.api.post("/api/v1/readings/upload/", {"file": sent}, format="multipart")
        if answer.status_code != 202:
            raise RuntimeError(f"{code}: {day}: {answer.status_code} {answer.content!r}")
        # The day is one transaction, after which the job would begin: it is done as a worker does it.
        claims.run_chunk(job_id=answer.json()["id"], index=0)
        job = self.api.get(answer.headers["Location"]).json()
        if job["state"] != "done":
            raise RuntimeError(f"{code}: {day}: {job}")
        batch = self.api.get(f"/api/v1/intake-batches/{job['result']['batch']}/").json()
        flags = tuple(flag["code"] for row in batch["flagged_rows"] for flag in row["flags"])
        return flags, tuple(fault["sentence"] for row in batch["refused_rows"] for fault in row["faults"])

    def _findings(self, code: str) -> tuple[Said, ...]:
        """Those that are open or confirmed, the surest first."""
        asked = {"unit": self.units[code].unit, "state__in": "open,confirmed", "page_size": 100}
        answer = self.api.get("/api/v1/findings/", asked)
        if answer.status_code != 200:
            raise RuntimeError(f"{code}: {answer.status_code} {answer.content!r}")
        return tuple(
            Said(
                row["cause"],
                row["rule"],
                row["title"],
                datetime.fromisoformat(row["opened_at"]).astimezone(ZONE).date(),
                row["installer_sentence"],
            )
            for row in sorted(answer.json()["results"], key=lambda row: (-row["confidence"], row["id"]))
        )
