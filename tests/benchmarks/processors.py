"""Processor seconds of the database's server, which are no one's child here."""

import os
from pathlib import Path


def server_seconds() -> float:
    """Processor seconds of all processes of the server so far, those that have ended with their parent's."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        backend = int(cursor.fetchone()[0])
    postmaster = int(_facts(backend)[1])
    ticks = 0
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal() and (facts := _facts(int(entry.name))):
            if int(entry.name) == postmaster:
                ticks += sum(int(tick) for tick in facts[11:15])
            elif int(facts[1]) == postmaster:
                ticks += int(facts[11]) + int(facts[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def _facts(process: int) -> list[str]:
    """What `/proc` tells of a process behind its name: state, parent and so on; nothing once it has ended."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []
