"""What a client is asked to read, or to look for without a meter.

What a reading is worth is decided where work is planned. A room that decides it says here how to find out, when its
application is ready, so that nothing here has to know of it.
"""

from collections.abc import Callable, Sequence

from fleet.models import Unit

_find: "Callable[[Unit], Sequence[str]] | None" = None


def find_with(find: "Callable[[Unit], Sequence[str]]") -> None:
    """Name what finds the stored names of the quantities and observations that the client of a unit is asked for."""
    global _find
    _find = find


def asked_of_client(unit: Unit) -> Sequence[str]:
    """Stored names of the quantities and observations that the client of a unit is asked for; empty: nothing."""
    return _find(unit) if _find is not None else ()
