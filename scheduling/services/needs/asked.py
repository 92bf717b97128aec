"""What the client of a unit is asked to read."""

from collections.abc import Sequence

from fleet.models import Unit
from scheduling.models import Need


def asked_of_client(unit: Unit) -> Sequence[str]:
    """Stored names of the quantities and observations that the client is asked for, each once; empty: none."""
    needs = Need.objects.filter(unit=unit, state=Need.State.OPEN, reading_way=Need.ReadingWay.ASK_CLIENT)
    return list(dict.fromkeys(name for reads in needs.order_by("pk").values_list("reads", flat=True) for name in reads))
