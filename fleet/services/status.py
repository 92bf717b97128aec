"""What a client wants to know of a unit: is my water good now, and what happens next."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from accounts.language import gettext
from fleet.engineering.diagnosis import BAD_WATER, SEEN_BY_PEOPLE
from fleet.engineering.limits import is_exhausted
from fleet.engineering.nomenclature import without_unit
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.intake.names import public_name
from fleet.models import Finding, Position, Reading, Stage, Unit
from fleet.services import words
from fleet.services.asked import asked_of_client
from fleet.services.forecasts.groups import first_to_fail_of_unit
from fleet.services.limits import limits_of
from fleet.services.readings.cartridge_changes import last_changed, of_present_cartridge

FRESH: Final = timedelta(days=60)
#: What a verdict on the water may rest on; with resin, on the first alone.
JUDGED: Final = ("product_tds_mg_per_l", "permeate_tds_mg_per_l")
"""A reading older than this says nothing about the water of today (common practice, no source)."""

_NEWEST_READINGS: Final = 50

_SEEN_BAD: Final = BAD_WATER & SEEN_BY_PEOPLE

_CHLORINE: Final = ("carbon_outlet_total_chlorine_mg_per_l", "carbon_outlet_free_chlorine_mg_per_l")
_CHLORINE_READ: Final = Q(**{f"{_CHLORINE[0]}__isnull": False}) | Q(**{f"{_CHLORINE[1]}__isnull": False})


@dataclass(frozen=True)
class Change:
    """What is expected to be changed next, and when."""

    position_id: int
    stage: str
    role: str
    on: date
    from_day: date | None
    to_day: date | None
    sentence: str


@dataclass(frozen=True)
class Status:
    """A unit as its client sees it.

    `water` is 'good', 'not_good', 'unknown'; `measured` names the quantity the verdict rests on, its value and the
    limit in mg/L. `please_read` asks for a reading, or for what can be seen without a meter; empty where none is
    wanted; `asks` holds the names of both.
    """

    unit_id: int
    water: str
    sentence: str
    read_at: datetime | None
    measured: str
    value_mg_per_l: float | None
    limit_mg_per_l: float
    next_change: Change | None
    findings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=())
    please_read: str = ""
    asks: tuple[str, ...] = ()


def status_of(*, unit: Unit, now: datetime) -> Status:
    """Judge a unit by its newest readings, its open findings and its latest forecasts.

    Only what was read of the cartridges that stand there now counts: what a reading showed before the last change says
    nothing of the water of today.
    """
    has_resin = Position.objects.filter(unit=unit, stage=Stage.RESIN).exists()
    # Without resin the water at the outlet is that of the membrane, unless somebody read it there.
    columns = JUDGED[:1] if has_resin else JUDGED
    was_read = ~Q(**{f"{name}__isnull": True for name in columns})
    limits = limits_of(unit)
    limit = limits.product_tds_mg_per_l
    own_readings = Reading.objects.current().taken_by(now).filter(unit=unit).order_by("-taken_at", "-pk")
    changed_at = last_changed(unit, Stage.RESIN if has_resin else Stage.MEMBRANE)
    reading = _newest(own_readings.filter(was_read), changed_at)
    column = next((name for name in columns if getattr(reading, name, None) is not None), columns[-1])
    tests = own_readings.filter(_CHLORINE_READ, taken_at__gte=now - FRESH)
    tested = _newest(tests, last_changed(unit, Stage.CARBON))
    value = getattr(reading, column) if reading else None
    swapped = _is_doubtful(reading)
    tests_read = [getattr(tested, name) for name in _CHLORINE] if tested else []
    chlorine = max((read for read in tests_read if read is not None), default=None)
    if reading is None or swapped or reading.taken_at < now - FRESH:
        read_before = reading is None and own_readings.filter(was_read).exists()
        changed = ""
        if read_before and changed_at is not None:
            changed = words.unread_since_change(has_resin, _day(unit, changed_at))
        water, sentence = "unknown", changed or _unknown(reading, now, swapped)
    elif value is not None and is_exhausted("product_tds_mg_per_l", value, limit):
        water = "not_good"
        sentence = words.water_above(value, words.allowed_tds(limit, unit.product_tds_target_mg_per_l))
    elif chlorine is not None and is_exhausted("chlorine_mg_per_l", chlorine, limits.chlorine_mg_per_l):
        water = "not_good"
        sentence = words.chlorine_passes(chlorine, limits.chlorine_mg_per_l)
    else:
        allowed = words.allowed_tds(limit, unit.product_tds_target_mg_per_l)
        water, sentence = "good", words.water_within(value or 0.0, allowed)
    live = Finding.objects.filter(unit=unit, state__in=Finding.LIVE).exclude(client_sentence="")
    findings = list(live.order_by("-confidence", "pk").values_list("rule", "client_sentence"))
    # what people taste or find in the unit no gauge of TDS contradicts
    reported = next((text for rule, text in findings if rule in _SEEN_BAD), None)
    if reported is not None and water != "not_good":
        water, sentence = "not_good", reported
    asked = tuple(asked_of_client(unit))
    seen = [name for name in asked if name in OBSERVATION_MEANINGS or name == words.RESIN_COLOUR]
    quantities = [name for name in asked if name not in seen]
    please = [words.please_read(quantities)] if quantities else []
    please += [words.please_tell(seen)] if seen else []
    cautions = [words.DEIONISED if has_resin else words.NO_CLAIM, words.ESTIMATE]
    return Status(
        unit_id=unit.pk,
        water=water,
        sentence=sentence,
        read_at=reading.taken_at if reading else None,
        measured=without_unit(column),
        value_mg_per_l=value,
        limit_mg_per_l=limit,
        next_change=_next_change(unit),
        findings=tuple(dict.fromkeys(text for _, text in findings)),
        cautions=tuple(gettext(text) for text in cautions),
        please_read=" ".join(please),
        asks=tuple(public_name(name) for name in asked),
    )


def _is_doubtful(reading: Reading | None) -> bool:
    codes = {flag.get("code") for flag in (reading.flags if reading else [])}
    return bool(codes & {"transposed", "permeate_above_feed", "factor_of_ten"})


def _newest(newest_first: QuerySet[Reading], placed_at: datetime | None) -> Reading | None:
    """The newest reading that saw what stands there now."""
    # the slice bounds the work; only readings of the day of the change can fall out
    return next(iter(of_present_cartridge(newest_first[:_NEWEST_READINGS], placed_at)), None)


def _day(unit: Unit, at: datetime) -> date:
    return at.astimezone(ZoneInfo(unit.site.time_zone)).date()


def _unknown(reading: Reading | None, now: datetime, doubtful: bool) -> str:
    if reading is None:
        return words.never_read()
    return words.doubtful_reading() if doubtful else words.old_reading((now - reading.taken_at).days)


def _next_change(unit: Unit) -> Change | None:
    first = first_to_fail_of_unit(unit=unit)
    on, forecast = first.quantiles["p50"], first.forecast
    if on is None or forecast is None:
        return None
    return Change(
        position_id=forecast.position_id,
        stage=forecast.position.stage,
        role=forecast.position.role,
        on=on,
        from_day=first.quantiles["p10"],
        to_day=first.quantiles["p90"],
        sentence=first.client_sentence,
    )
