"""Settings of the web server: `gunicorn -c fleet/config/server/web.py fleet.config.wsgi`.

They are named by their path, so that the process that starts the others imports nothing of the program. Arguments of
the command and GUNICORN_CMD_ARGS come before them; WEB_CONCURRENCY says how many processes answer.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

bind = "127.0.0.1:8000"
workers = int(os.environ.get("WEB_CONCURRENCY") or 2 * (os.cpu_count() or 1) + 1)
# One request at a time in each: plots are drawn by a library that knows no threads.
worker_class = "sync"
# The longest that is done while somebody waits, a file of 20 MB, stays well below it; so must what the proxy waits.
timeout = 120
# Whoever is being answered when the server is told to stop is answered to the end.
graceful_timeout = 120
# Nobody writes down which addresses were asked for: some hold the secret of a link.
accesslog = None
# Nobody steers it by a socket in a home folder, which the user of a service or of a container may not write to.
control_socket_disable = True

# The processes count their requests together in files of one folder, `accounts/observing/metrics.py`.
_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_is_own = _FOLDER not in os.environ
if _is_own:
    os.environ[_FOLDER] = tempfile.mkdtemp(prefix="ro-fleet-metrics-")
_starter = os.getpid()


def on_starting(server: Any) -> None:
    """Begin at zero: what an earlier server left in a folder that was named is not counted again."""
    for left in Path(os.environ[_FOLDER]).glob("*.db"):
        left.unlink()


def child_exit(server: Any, worker: Any) -> None:
    """Tell the library of a process that has ended."""
    # Imported as late as this: the library looks at the folder when it is read first.
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)


def on_exit(server: Any) -> None:
    """Take the folder away, if it was made here."""
    if _is_own and os.getpid() == _starter:
        shutil.rmtree(os.environ[_FOLDER], ignore_errors=True)
