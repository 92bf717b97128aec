"""In which order the tasks of a visit are done."""

from scheduling.models import Need

Kind = Need.Kind

# Look first, mend what feeds the train, sanitise while the housings are open, then new cartridges from the feed on.
_ORDER_OF_WORK = {
    kind: place
    for place, kind in enumerate(
        (
            Kind.TAKE_READING,
            Kind.INSPECT,
            Kind.REPAIR,
            Kind.FIT_BOOSTER_PUMP,
            Kind.REPLACE_RESTRICTOR,
            Kind.SANITISE,
            Kind.REPLACE,
            Kind.ROTATE,
            Kind.VERIFY_INSTRUMENTS,
            Kind.COMMISSION,
        )
    )
}


def order_of_work(need: Need) -> tuple[int, int, int, int]:
    """Sorting key of tasks on a visit: unit by unit, cartridges together, each in train order."""
    place = _ORDER_OF_WORK[Kind(need.kind)]
    cartridge = need.kind in {Kind.REPLACE, Kind.ROTATE}
    return (
        need.unit_id,
        _ORDER_OF_WORK[Kind.REPLACE] if cartridge else place,
        need.position.order if need.position is not None else 0,
        need.pk,
    )
