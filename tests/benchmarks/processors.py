"""Processor seconds and memory of processes that are no children of the one that asks, by `/proc`."""

import os
from collections.abc import Iterator
from pathlib import Path

_PARENT, _GROUP, _OWN, _OF_CHILDREN = 1, 2, slice(11, 13), slice(13, 15)
"""Places in what `/proc` tells of a process behind its name."""


def server_seconds() -> float:
    """Processor seconds of all processes of the server so far, those that have ended with their parent's."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        backend = int(cursor.fetchone()[0])
    postmaster = int(_facts(backend)[_PARENT])
    ticks = 0
    for process, facts in _all_facts():
        if process == postmaster:
            ticks += _ticks(facts, _OWN) + _ticks(facts, _OF_CHILDREN)
        elif int(facts[_PARENT]) == postmaster:
            ticks += _ticks(facts, _OWN)
    return ticks / os.sysconf("SC_CLK_TCK")


def group_seconds(group: int) -> float:
    """Processor seconds of a group of processes so far, of children that have ended with their parents'."""
    ticks = 0
    for _, facts in _all_facts():
        if int(facts[_GROUP]) == group:
            ticks += _ticks(facts, _OWN) + _ticks(facts, _OF_CHILDREN)
    return ticks / os.sysconf("SC_CLK_TCK")


def group_peak_mb(group: int) -> float:
    """Megabytes that the largest process of a group took at most."""
    peaks = [0.0]
    for process, facts in _all_facts():
        if int(facts[_GROUP]) == group:
            try:
                lines = Path(f"/proc/{process}/status").read_text().splitlines()
            except OSError:
                continue
            peaks += [int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")]
    return max(peaks)


def _ticks(facts: list[str], part: slice) -> int:
    return sum(int(tick) for tick in facts[part])


def _all_facts() -> Iterator[tuple[int, list[str]]]:
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal() and (facts := _facts(int(entry.name))):
            yield int(entry.name), facts


def _facts(process: int) -> list[str]:
    """What `/proc` tells of a process behind its name: state, parent and so on; nothing once it has ended."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []
