"""The whole job over HTTP on real parts: PostgreSQL, a queue, a web server, a worker, beat, a mail server.

No transaction of a test is around it, so what holds only inside one fails here. Every route that writes is called.
"""

import json
import re
from pathlib import Path

from tests.live.parts import Person, running_parts
from tests.live.walk import access, money, records, repair, webhooks, week
from tests.routes import every_route

WRITE_ROUTES = [route for route in every_route() if route.method != "GET" and route.path.startswith("/api/")]


def test_a_company_is_lived_through_and_every_write_route_is_called(tmp_path: Path) -> None:
    with running_parts(tmp_path) as parts:
        parts.manage("demo", "--folder", str(tmp_path / "demo"))
        logins = json.loads((tmp_path / "demo" / "logins.json").read_text())
        written: set[tuple[str, str]] = set()
        people = {
            address.partition("@")[0]: Person(parts, written, token=token)
            for address, token in logins["tokens"].items()
        }
        owner, office, client = people["owner"], people["office"], people["client"]
        installers = {name: people[name] for name in ("runa", "pelle", "tilda")}
        access.walk(parts, owner, logins)
        webhooks.walk(owner)
        records.walk(owner, office, people["runa"], people["S39-1"], client)
        week.walk(owner, office, installers, client)
        repair.walk(office, client)
        money.walk(office, client)
        assert parts.letters, "no letter left"
        for log in tmp_path.glob("*.log"):
            assert "Traceback" not in log.read_text(), log.read_text()[-6000:]
    called = {called_route(method, f"/api/v1{path}") for method, path in written}
    assert {str(route) for route in WRITE_ROUTES} - called == set()


def called_route(method: str, path: str) -> str:
    """The route of an address: of those that fit, the one with the fewest places for an id."""
    fitting = [
        route
        for route in WRITE_ROUTES
        if route.method == method and re.fullmatch(re.sub(r"<\w+>", "[^/]+", route.path), path)
    ]
    return str(min(fitting, key=lambda route: route.path.count("<")))
