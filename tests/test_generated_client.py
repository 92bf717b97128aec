"""A client that openapi-python-client makes of the description does the main job: from a client's unit to work done.

Whoever writes a program against the interface begins so. The generator is somebody else's reading of OpenAPI 3.1: what
it cannot read, others cannot either.
"""

import importlib
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer

from accounts.models import Company
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime.now(UTC)
# Files are no JSON: the generator says that it leaves their content to the caller.
FILES = ("application/pdf", "image/*", "application/zip", "application/gpx+xml")


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of the package that was made, which can be imported."""
    folder = tmp_path_factory.mktemp("client")
    described = SchemaGenerator().get_schema(request=None, public=True)
    (folder / "description.json").write_bytes(OpenApiJsonRenderer().render(described))
    # Without the tools that it would run over its code: nothing is fetched, and nothing has to be pretty.
    (folder / "settings.yaml").write_text("post_hooks: []\n")
    made = subprocess.run(
        [
            *(sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none"),
            *("--path", str(folder / "description.json"), "--config", str(folder / "settings.yaml")),
            *("--output-path", str(folder / "made_client")),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stdout[-3000:] + made.stderr[-3000:]
    left_out = [line for line in made.stdout.splitlines() if line.startswith(("Unable", "Cannot parse"))]
    assert [line for line in left_out if not any(kind in line for kind in FILES)] == []
    sys.path.insert(0, str(folder))
    yield "made_client"
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.split(".")[0] == "made_client"]:
        del sys.modules[name]


class Caller:
    """Calls by the generated package: `call('clients_create', ...)` gives what it makes of the answer."""

    def __init__(self, package: str, address: str, token: str = "") -> None:
        self.package = package
        client = importlib.import_module(f"{package}.client")
        made = client.AuthenticatedClient if token else client.Client
        self.client = made(base_url=address, **({"token": token} if token else {}), timeout=60)
        self.models = importlib.import_module(f"{package}.models")

    def call(self, room: str, name: str, *path: Any, body: Any = None, **parameters: Any) -> Any:
        function = importlib.import_module(f"{self.package}.api.{room}.{name}")
        given = {"body": body} if body is not None else {}
        answer = function.sync_detailed(*path, client=self.client, **given, **parameters)
        assert answer.status_code < 300, (name, answer.status_code, answer.content[:500])
        return answer.parsed


@pytest.mark.django_db(transaction=True)
def test_the_main_job_in_short(package: str, company: Company, live_server: Any) -> None:
    office = factories.MembershipFactory(company=company, role="office", user__email="ofer@north.example")
    factories.InstallerFactory(company=company, name="Ada", membership__role="installer")
    door = Caller(package, live_server.url)
    signed_in = door.call(
        "login", "login", body=door.models.LoginRequest(email=office.user.email, password=factories.PASSWORD)
    )
    desk = Caller(package, live_server.url, signed_in.token)
    models = desk.models
    customer = desk.call("clients", "clients_create", body=models.ClientRequest(name="Example Bar"))
    site = desk.call(
        "sites",
        "sites_create",
        body=models.SiteRequest(client=customer.id, code="S1", name="Bar", latitude=52.5, longitude=13.4),
    )
    unit = desk.call(
        "units",
        "units_create",
        body=models.NewUnitRequest(
            site=site.id,
            code="U1",
            use=models.UseEnum.REEF,
            kind=models.UnitKindEnum.RO_DI,
            commissioned_on=(NOW - timedelta(days=200)).date(),
            template=models.TemplateEnum.RO_DI,
        ),
    )
    reading = desk.call(
        "readings",
        "readings_create",
        body=models.NewReadingRequest(unit="U1", inlet_pressure="60 psi", product_tds="0 mg/L", permeate_tds="9 mg/L"),
    )
    # 1 psi is 6.894757 kPa (NIST SP 811, appendix B.8).
    assert reading.inlet_pressure.unit == "bar"
    assert reading.inlet_pressure.value == pytest.approx(60 * 0.06894757, abs=1e-4)
    assert desk.call("units", "units_status_retrieve", unit.id).sentence
    need = desk.call(
        "needs",
        "needs_create",
        body=models.NewNeedRequest(unit=unit.id, kind=models.NeedKindEnum.INSPECT, reason="asked by the client"),
    )
    desk.call("visits", "visits_propose_create")
    listed = desk.call("visits", "visits_list", site="S1")
    visit = listed.results[0]
    assert need.id in [task.need for task in visit.tasks]
    at = (NOW + timedelta(days=3)).replace(hour=9, minute=0, second=0, microsecond=0)
    confirmed = desk.call(
        "visits",
        "visits_confirm_create",
        visit.id,
        body=models.ConfirmationRequest(appointment_at=at, outside_access_hours=True),
    )
    assert confirmed.state == models.VisitStateEnum.CONFIRMED
    desk.call(
        "service_records",
        "service_records_create",
        body=models.NewServiceRecordRequest(
            site=site.id,
            visit=visit.id,
            reference="van-1/0001",
            done_at=NOW - timedelta(minutes=5),
            work=[models.WorkDoneRequest(action=models.NeedKindEnum.INSPECT, unit=unit.id)],
        ),
    )
    assert desk.call("visits", "visits_retrieve", visit.id).state == models.VisitStateEnum.DONE
    with pytest.raises(AssertionError, match="404"):
        desk.call("visits", "visits_retrieve", visit.id + 1000)
