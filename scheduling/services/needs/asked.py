"""What the client of a unit is asked to read."""

from collections.abc import Sequence

from fleet.models import Unit
from scheduling.models import Need


def asked_of_client(unit: Unit) -> Sequence[str]:
    """Stored names of the quantities that the client is asked to read, in the order of the train; empty: none."""
    needs = Need.objects.filter(unit=unit, state=Need.State.OPEN, reading_way=Need.ReadingWay.ASK_CLIENT)
    reads: Sequence[str] = needs.order_by("pk").values_list("reads", flat=True).first() or ()
    return reads
