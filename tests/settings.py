"""Settings of the test suite: the project's own, on a database of the tests.

`TEST_DATABASE=postgresql pytest` starts a private PostgreSQL (a wheel, no installation), runs the same suite on it and
stops it; without the variable the suite runs on SQLite files. Either way everything lies in a temporary folder of the
run, which is deleted when the run ends; `--basetemp DIR` keeps the files of single tests elsewhere.
"""

import os
import tempfile
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from tests.servers import start_postgresql, use_own_temporary_folder

_choice = os.environ.get("TEST_DATABASE", "sqlite")
if _choice not in {"sqlite", "postgresql"}:
    raise ImproperlyConfigured(f"TEST_DATABASE is '{_choice}': write sqlite or postgresql.")

# The suite decides where its jobs run, which database it uses and whom it asks for driving times, whatever the shell
# that starts it has set.
os.environ.pop("REDIS_URL", None)
os.environ.pop("TABLE_SERVICE_URL", None)
os.environ.pop("MAP_TILES_URL", None)
os.environ.pop("GEOCODER", None)
os.environ.pop("TEXT_SENDER", None)
_is_xdist_worker = "PYTEST_XDIST_WORKER" in os.environ
# The workers of a parallel run inherit the folder too.
if not _is_xdist_worker:
    use_own_temporary_folder()
if _choice == "postgresql" and not _is_xdist_worker:
    # The workers of a parallel run inherit the address and share this one server.
    os.environ["DATABASE_URL"] = start_postgresql()
elif _choice == "sqlite":
    os.environ["DATABASE_URL"] = "sqlite:///" + str(Path(tempfile.gettempdir()) / f"{os.getpid()}.sqlite3")

from fleet.config.settings import *  # noqa: E402, F403
from fleet.config.settings import DATABASES  # noqa: E402

if _choice == "sqlite":
    # A file, not memory: worker processes that the job tests start must see the same rows.
    DATABASES["default"]["TEST"] = {"NAME": DATABASES["default"]["NAME"] + ".test"}

# A password hash that is slow on purpose would be most of the suite's time.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
MEDIA_ROOT = str(Path(tempfile.gettempdir()) / f"files-{os.getpid()}")
# Callers of tests come from all over the world.
HAS_OWN_KEY = True
# Budgets of requests are counted where a test asks for it: thousands of requests of a test come in one minute.
REQUEST_BUDGET_PERCENT = 0
