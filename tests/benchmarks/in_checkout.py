"""Run one measure of today's benchmarks on the product of another checkout; started by `bench_before_after` alone.

Started by its path, in the checkout to be measured. The product, its factories and its routes are the checkout's; what
measures and what starts servers is taken from beside this file, so that both checkouts are measured by the same hand.
"""

import importlib
import json
import sys
import types
from pathlib import Path

_TODAY = Path(__file__).resolve().parents[1]
_PLAIN_WEB_SERVER = ("-m", "gunicorn", "--timeout", "3600", "fleet.config.wsgi")


def main() -> None:
    """Run the measure named by the first argument with the options that the second holds as JSON."""
    checkout = Path.cwd()
    sys.path[0] = str(checkout)
    for name in ("benchmarks", "live"):
        _take_from_today(f"tests.{name}", _TODAY / name)
    servers = types.ModuleType("tests.servers")
    servers.__file__ = str(_TODAY / "servers.py")
    exec(compile((_TODAY / "servers.py").read_text(), servers.__file__, "exec"), servers.__dict__)
    sys.modules["tests.servers"] = servers
    # Processes are started where the product lies that is measured.
    importlib.import_module("tests.live.workers").ROOT = checkout  # type: ignore[attr-defined]
    if not (checkout / "fleet/config/server/web.py").exists():
        importlib.import_module("tests.live.parts").WEB_SERVER = _PLAIN_WEB_SERVER  # type: ignore[attr-defined]
    measures = importlib.import_module("tests.benchmarks.measures")
    print(json.dumps(measures.MEASURES[sys.argv[1]](**json.loads(sys.argv[2]))))


def _take_from_today(name: str, folder: Path) -> None:
    importlib.import_module("tests")
    package = types.ModuleType(name)
    package.__path__ = [str(folder)]
    sys.modules[name] = package
    setattr(sys.modules["tests"], name.rpartition(".")[2], package)


if __name__ == "__main__":
    main()
