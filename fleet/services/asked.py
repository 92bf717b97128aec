"""Which readings a client is asked for.

What a reading is worth is decided where work is planned. A room that decides it says here how to find out, when its
application is ready, so that nothing here has to know of it.
"""

from collections.abc import Callable, Sequence

from fleet.models import Unit

_find: "Callable[[Unit], Sequence[str]] | None" = None


def find_with(find: "Callable[[Unit], Sequence[str]]") -> None:
    """Name what finds the stored names of the quantities that the client of a unit is asked to read."""
    global _find
    _find = find


def asked_of_client(unit: Unit) -> Sequence[str]:
    """Stored names of the quantities that the client of a unit is asked to read; empty: nothing is asked."""
    return _find(unit) if _find is not None else ()
