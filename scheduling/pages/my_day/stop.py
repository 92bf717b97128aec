"""A stop as a page shows it: the rows of the day sheet, with hours on the clock of the site and what its form needs."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from accounts.language import gettext
from accounts.templatetags.words import dial
from fleet.models import Position
from scheduling.models import Need, Visit
from scheduling.pages.my_day.gauges import gauges_of
from scheduling.services.people.words import arrival_span

_AT_POSITION = (Need.Kind.REPLACE, Need.Kind.ROTATE)


def clock(moment: str | None, zone: ZoneInfo) -> str:
    """Hours and minutes of a moment in ISO text; empty for none."""
    return f"{datetime.fromisoformat(moment).astimezone(zone):%H:%M}" if moment else ""


def _window(moment: str | None, time_zone: str) -> str:
    """The hours between which the client was told to expect somebody; empty for none."""
    if not moment:
        return ""
    opens, closes = arrival_span(datetime.fromisoformat(moment), time_zone)
    return f"{opens:%H:%M} - {closes:%H:%M}"


def shown_stop(stop: Mapping[str, Any]) -> dict[str, Any]:
    """A stop of a day sheet, with its hours on the clock of the site."""
    zone = ZoneInfo(stop["time_zone"])
    return {
        **stop,
        "arrives": clock(stop["arrives_at"], zone),
        "starts": clock(stop["starts_at"], zone),
        "leaves": clock(stop["leaves_at"], zone),
        "promised": _window(stop["appointment_at"], stop["time_zone"]),
        "state_words": gettext(str(Visit.State(stop["state"]).label)),
        "is_closed": stop["state"] in Visit.CLOSED,
        "may_depart": stop["state"] in Visit.AHEAD,
        "may_begin": stop["state"] in Visit.AHEAD or stop["state"] == Visit.State.ON_THE_WAY,
        # RFC 5870 has a point, not a comma, in its numbers, and no blanks.
        "geo": f"geo:{stop['latitude']:.6f},{stop['longitude']:.6f}",
        "dial": dial(stop["phone"]),
    }


def shown_visit(visit: Mapping[str, Any], time_zone: str) -> dict[str, Any]:
    """Another visit of the site, ahead of its day, with its times on the clock of the site."""
    zone = ZoneInfo(time_zone)

    def local(moment: str | None) -> datetime | None:
        return datetime.fromisoformat(moment).astimezone(zone) if moment else None

    return {
        **visit,
        "state_words": gettext(str(Visit.State(visit["state"]).label)),
        "promised": local(visit["appointment_at"]),
        "windows": [
            {"sent": offer["opens_at"], "opens": local(offer["opens_at"]), "closes": local(offer["closes_at"])}
            for offer in visit["offers"]
        ],
    }


def kind_words(task: Mapping[str, Any]) -> str:
    """What is to be done, such as 'replace cartridge'."""
    return gettext(str(Need.Kind(task["kind"]).label))


class StopFacts:
    """What the page of a stop shows beside its row of the day sheet."""

    def __init__(
        self,
        *,
        stop: Mapping[str, Any],
        unit_system: str,
        positions: Sequence[Mapping[str, Any]],
        placements: Sequence[Mapping[str, Any]],
        items: Sequence[Mapping[str, Any]],
        meters: Sequence[Mapping[str, Any]],
        readings: Sequence[Mapping[str, Any]],
    ) -> None:
        self.stop, self.unit_system, self.items, self.meters = stop, unit_system, items, meters
        self.position_of = {position["id"]: position for position in positions}
        self.installed_at = {placement["position"]: placement for placement in placements}
        self.name_of = {place["position"]: place["place"] for unit in stop["units"] for place in unit["train"]}
        self.readings: dict[int, list[Mapping[str, Any]]] = {}
        for reading in readings:
            self.readings.setdefault(reading["unit"], []).append(reading)
        self.task_at = {task["position"]: task for task in self.open_tasks if task["kind"] in _AT_POSITION}

    @property
    def open_tasks(self) -> list[dict[str, Any]]:
        """Tasks that a report must speak of."""
        return [task for task in self.stop["tasks"] if task["state"] == Need.State.OPEN]

    def tasks(self) -> list[dict[str, Any]]:
        """The tasks, each saying whether it is told at a cartridge."""
        return [
            {
                **task,
                "kind_words": kind_words(task),
                "at_position": task["kind"] in _AT_POSITION,
                "is_open": task["state"] == Need.State.OPEN,
            }
            for task in self.stop["tasks"]
        ]

    def units(self) -> list[dict[str, Any]]:
        """The units of the site: train, gauges, findings."""
        return [self._unit(unit) for unit in self.stop["units"]]

    def for_scripts(self) -> dict[str, Any]:
        """What the report is made of: names for the ids that it holds, and the tasks it must settle."""
        stop = self.stop
        items = {item["id"]: item["code"] for item in self.items}
        items |= {part["item"]: part["code"] for part in stop["parts"]}
        items |= {task["item"]: task["item_code"] for task in stop["tasks"] if task["item"]}
        codes = {unit["unit"]: unit["code"] for unit in stop["units"]}
        places = [(unit["unit"], place) for unit in stop["units"] for place in unit["train"]]
        return {
            "stop": stop["stop"],
            "site": stop["site"],
            "visit": stop["visit"],
            "title": f"{stop['site_code']} {stop['site_name']}",
            "tasks": [
                {name: task[name] for name in ("need", "kind", "unit", "position", "what")} for task in self.open_tasks
            ],
            "positions": {place["position"]: {"unit": unit} for unit, place in places},
            "parts": {part["item"]: part["quantity"] for part in stop["parts"]},
            "labels": {
                "units": codes,
                "positions": {place["position"]: f"{place['place']}, {codes[unit]}" for unit, place in places},
                "items": items,
                "needs": {task["need"]: f"{task['unit_code']}: {task['what']}" for task in stop["tasks"]},
                "actions": {kind.value: gettext(str(kind.label)) for kind in Need.Kind},
            },
        }

    def _unit(self, unit: Mapping[str, Any]) -> dict[str, Any]:
        train = [self._place(place) for place in unit["train"]]
        usual, others = gauges_of(
            unit,
            self.readings.get(unit["unit"], ()),
            self.unit_system,
            stages={place["stage"] for place in train},
        )
        last_meter = next((r["instrument"] for r in self.readings.get(unit["unit"], ()) if r["instrument"]), None)
        return {
            **unit,
            "found": f"found-{unit['unit']}",
            "left": f"left-{unit['unit']}",
            "train": train,
            "gauges": usual,
            "other_gauges": others,
            "meters": [meter for meter in self.meters if meter["unit"] in (None, unit["unit"])],
            "last_meter": last_meter,
        }

    def _place(self, place: Mapping[str, Any]) -> dict[str, Any]:
        position = self.position_of[place["position"]]
        placement = self.installed_at.get(place["position"])
        task = self.task_at.get(place["position"])
        return {
            **place,
            "stage": position["stage"],
            "task": {**task, "kind_words": kind_words(task)} if task is not None else None,
            "placement": placement["id"] if placement is not None else None,
            "can_rotate": position["role"] == Position.Role.LEAD,
            "items": [item for item in self.items if item["kind"] == position["stage"]],
            "fits": (task["item"] if task is not None else None) or (placement["item"] if placement else None),
        }
