"""The web server with its own settings: several processes, one count."""

from pathlib import Path

import requests

from tests.live.parts import WEB_SERVER, free_port, server_process, variables_of_a_server
from tests.live.workers import wait_until

TOKEN = "a-token-of-this-test-alone"
ASKED = 30


def test_all_its_processes_count_together(tmp_path: Path) -> None:
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    environment = variables_of_a_server() | {
        "DATABASE_URL": f"sqlite:///{tmp_path}/none.sqlite3",
        "METRICS_TOKEN": TOKEN,
        "TMPDIR": str(tmp_path),
        "HOME": str(tmp_path),
    }
    environment.pop("XDG_RUNTIME_DIR", None)
    command = [*WEB_SERVER, "--workers", "2", "--bind", f"127.0.0.1:{port}"]

    def answers() -> bool:
        try:
            return requests.get(f"{address}/readyz", timeout=60).status_code == 503
        except requests.RequestException:
            return False

    with server_process(command, environment, tmp_path / "web.log"):
        wait_until(answers, "the server's first answer")
        for _ in range(ASKED):
            assert requests.get(f"{address}/healthz", timeout=60).ok
        told = requests.get(f"{address}/metrics", headers={"Authorization": f"Bearer {TOKEN}"}, timeout=60)
        assert f'ro_fleet_requests_total{{method="GET",route="/healthz",status="200"}} {ASKED}.0' in told.text
        # There are no tables: what can be counted without them is told.
        assert "ro_fleet_database_up 0.0" in told.text
        assert list(tmp_path.glob("ro-fleet-metrics-*/*.db"))
        # The user of a service may write to no home folder.
        assert not (tmp_path / ".gunicorn").exists()
    assert not list(tmp_path.glob("ro-fleet-metrics-*"))
