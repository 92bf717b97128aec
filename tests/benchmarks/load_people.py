"""The people of one company as load: who asks how often for what. Read by the generator that `bench_load` starts."""

import json
import os
import random
import uuid
from datetime import UTC, datetime
from typing import Any

from locust import HttpUser, constant, task

_SEEDS = iter(range(10_000))


class Somebody(HttpUser):
    """One caller, who asks again as soon as the answer is there: the most that so many can ask for."""

    abstract = True
    wait_time = constant(0)
    who = ""

    def on_start(self) -> None:
        """Take the token of such a person, and the ids that the company has."""
        self.given = json.loads(os.environ["LOAD_GIVEN"])
        self.chance = random.Random(next(_SEEDS))
        self.client.headers["Authorization"] = f"Bearer {self.given['tokens'][self.who]}"

    def ask(self, path: str, name: str | None = None) -> None:
        """Read an address; the ids in it are no part of the name it is counted under."""
        self.client.get(f"/api/v1/{path}", name=f"{self.who} {name or path}")

    def post_reading(self, body: dict[str, Any]) -> None:
        """One reading with a reference of its own, taken now."""
        body |= {"reference": f"load-{uuid.uuid4()}", "taken_at": datetime.now(UTC).isoformat()}
        self.client.post("/api/v1/readings/", json=body, name=f"{self.who} posts a reading")


class Meter(Somebody):
    """Posts readings of its unit."""

    weight, who = 4, "meter"

    @task
    def post(self) -> None:
        """One reading of the permeate."""
        value = f"{self.chance.uniform(9, 14):.1f} ppm"
        self.post_reading({"unit": self.given["metered"], "permeate_tds": value})


class Customer(Somebody):
    """Looks at the unit, its visits and its past."""

    weight, who = 2, "client"

    @task(3)
    def status(self) -> None:
        """Whether the water is good."""
        self.ask(f"units/{self.chance.choice(self.given['own'])}/status/", "units/<id>/status/")

    @task
    def visits(self) -> None:
        """Who comes when."""
        self.ask("visits/")

    @task
    def readings(self) -> None:
        """What was read."""
        self.ask(f"readings/?unit={self.chance.choice(self.given['own'])}", "readings/?unit=<id>")


class Installer(Somebody):
    """Looks at the day and at units, and logs readings."""

    weight, who = 2, "installer"

    @task(2)
    def day(self) -> None:
        """What is to be done on a day, stop by stop."""
        self.ask(f"rounds/{self.chance.choice(self.given['rounds'])}/day-sheet/", "rounds/<id>/day-sheet/")

    @task(2)
    def unit(self) -> None:
        """One unit of the company's."""
        self.ask(f"units/{self.chance.choice(self.given['units'])}/", "units/<id>/")

    @task
    def reading(self) -> None:
        """A reading at the unit, by hand."""
        values = {"feed_tds": "240 ppm", "permeate_tds": "11 ppm", "temperature": "12 degC"}
        self.post_reading({"unit": self.given["metered"], **values})


class Office(Somebody):
    """Looks through lists."""

    weight, who = 2, "office"

    @task(3)
    def units(self) -> None:
        """A page of the units."""
        self.ask("units/")

    @task(2)
    def forecasts(self) -> None:
        """What is exhausted next."""
        self.ask("forecasts/?ordering=p50")

    @task
    def findings(self) -> None:
        """What is wrong."""
        self.ask("findings/?state=open")

    @task
    def orders(self) -> None:
        """What was ordered."""
        self.ask("purchase-orders/")

    @task
    def attention(self) -> None:
        """What cannot wait."""
        self.ask("attention/")
