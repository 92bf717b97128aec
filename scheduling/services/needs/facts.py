"""What is known of a company's units, read for the pure planning of their work in a constant number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from django.db.models import Max, Q, QuerySet

from accounts.day_alone import local_day
from accounts.models import Company
from fleet.models import CatalogueItem, Finding, Forecast, Placement, Position, Reading, Unit
from fleet.services.forecasts.rows import TENTHS
from fleet.services.sizing.parts import FittingPart, fitting_parts, suiting_carbons
from fleet.services.units.sites_not_known import is_of_nobody
from scheduling.models import Need
from scheduling.planning.needs.facts import FindingFacts, ForecastFacts, PartFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.from_gauges import WHAT_IS_SEEN
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS
from scheduling.planning.needs.work import part_for, work_for
from scheduling.services.needs.reading import OF_FORECAST, OF_PLACEMENT, all_but


@dataclass(frozen=True, slots=True)
class FleetFacts:
    """The units in service with what is known of each, and the rows behind the keys of their facts."""

    units: Mapping[int, Unit]
    facts: tuple[UnitFacts, ...]
    forecasts: Mapping[int, Forecast]
    findings: Mapping[int, Finding]


def quantile_days(forecast: Forecast, today: date) -> tuple[float, ...]:
    """The stored distribution in days from today, at `DISTRIBUTION_LEVELS`; empty when the forecast has no date.

    What is exhausted by the end of a day counts as of that day, so that a probability by a day is the forecast's own.
    """
    return days_from(forecast.as_of, forecast.date_grid, today)


def days_from(as_of: date, date_grid: Sequence[int], today: date) -> tuple[float, ...]:
    """A distribution as a forecast stores it, in days from today; as `quantile_days`."""
    last_tenth = _last_tenth(as_of, today)
    return tuple([(tenth - last_tenth) / TENTHS for tenth in date_grid[-len(DISTRIBUTION_LEVELS) :]])


def _last_tenth(as_of: date, today: date) -> int:
    """The last tenth of a day that belongs to today, as the dates of a forecast are counted."""
    return TENTHS * ((today - as_of).days + 1) - 1


def days_from_all(as_of: Sequence[date], date_grids: Sequence[Sequence[int]], today: date) -> list[tuple[float, ...]]:
    """`days_from` of many forecasts, in one go; empty where there is no date."""
    grids = [grid[-len(DISTRIBUTION_LEVELS) :] for grid in date_grids]
    table = np.array([grid or [0] * len(DISTRIBUTION_LEVELS) for grid in grids], dtype=np.int64)
    last_tenths = np.array([_last_tenth(day, today) for day in as_of], dtype=np.int64)
    days = ((table.reshape(-1, len(DISTRIBUTION_LEVELS)) - last_tenths[:, None]) / TENTHS).tolist()
    return [tuple(row) if grid else () for grid, row in zip(grids, days, strict=True)]


def facts_of_forecasts(forecasts: Iterable[Forecast], today: date) -> dict[int, ForecastFacts]:
    """Stored forecasts in the words of the planning room, by id."""
    rows = list({forecast.pk: forecast for forecast in forecasts}.values())
    if not rows:
        return {}
    quantiles = days_from_all([row.as_of for row in rows], [row.date_grid for row in rows], today)
    return {row.pk: _forecast_facts(row, days, today) for row, days in zip(rows, quantiles, strict=True)}


def _forecast_facts(forecast: Forecast, days: tuple[float, ...], today: date) -> ForecastFacts:
    placement = forecast.placement
    # to a day, on the clock of UTC: of a life of weeks or months
    used = (today - local_day(placement.first_installed_at, UTC)).days if placement is not None else None
    read_days = forecast.evidence.get("newest_reading_age_days")
    ages_out = forecast.driver == Forecast.Driver.MAXIMUM_SERVICE_TIME
    return ForecastFacts(
        key=forecast.pk,
        cartridge=forecast.placement_id,
        quantile_days=days,
        is_exhausted=forecast.state == Forecast.State.EXHAUSTED,
        is_maximum_service_time=ages_out,
        remaining_share=forecast.remaining_share,
        used_days=float(max(used, 0)) if used is not None else None,
        fresh_life_days=fresh_life(forecast),
        read_days_ago=read_days + (today - forecast.as_of).days if read_days is not None else None,
        is_by_label=read_days is None and not ages_out,
        sentence=forecast.installer_sentence,
    )


def fresh_life(forecast: Forecast) -> tuple[float, float, float] | None:
    """Life of a fresh cartridge at the position of a forecast; None where the forecast is older than that answer."""
    low, median, high = forecast.fresh_life_p10_days, forecast.fresh_life_p50_days, forecast.fresh_life_p90_days
    return None if low is None or median is None or high is None else (low, median, high)


def read_facts(*, company: Company, today: date, units: Collection[int] | None = None) -> FleetFacts:
    """Read what is known of the units in service on a day.

    Parameters
    ----------
    company, today
        Whose units, and the company's day.
    units
        Ids of those that are looked at; None: all.
    """
    in_unit = Q() if units is None else Q(unit__in=units)
    in_position = Q() if units is None else Q(position__unit__in=units)
    rows = Unit.objects.of_company(company).filter(
        Q() if units is None else Q(pk__in=units),
        Unit.is_in_use_on(today),
        commissioned_on__lte=today,
    )
    here = {unit.pk: unit for unit in rows.select_related("site__client").order_by("pk")}
    trains: dict[int, list[Position]] = defaultdict(list)
    for position in Position.objects.of_company(company).filter(in_unit).order_by("order", "pk"):
        trains[position.unit_id].append(position)
    placements = Placement.objects.of_company(company).filter(in_position)
    fitted = placements.filter(removed_at__isnull=True).defer(*all_but(Placement, OF_PLACEMENT))
    installed = {row.position_id: row for row in fitted}
    items = _newest_items(placements, installed)
    latest = _latest_forecasts(company, in_position, installed)
    dates = facts_of_forecasts(latest.values(), today)
    newest = {position: dates[forecast.pk] for position, forecast in latest.items()}
    live = Finding.objects.of_company(company).filter(in_unit, state__in=Finding.LIVE)
    findings: dict[int, list[Finding]] = defaultdict(list)
    for finding in live.select_related("reading").order_by("-confidence", "pk"):
        findings[finding.unit_id].append(finding)
    measured = Reading.objects.of_company(company).filter(in_unit).current().measured()
    read = dict(measured.order_by().values_list("unit").annotate(Max("taken_at")))
    last_asked = dict(
        Need.objects.of_company(company)
        .filter(in_unit, state=Need.State.OPEN, kind=Need.Kind.TAKE_READING)
        .exclude(reading_way="")
        .exclude(key__endswith=WHAT_IS_SEEN)
        .values_list("unit", "created_at")
    )
    answers = Reading.objects.of_company(company).filter(in_unit).current().exclude(observations={})
    seen = dict(answers.order_by().values_list("unit").annotate(Max("taken_at")))
    parts = _fitting_parts(company, {pk: rows for pk, rows in findings.items() if pk in here}, today)
    last_installed = [(unit, row, items[row.pk]) for pk, unit in here.items() for row in trains[pk] if row.pk in items]
    suiting = suiting_carbons(company=company, installed=last_installed)
    last_done = _done(company, in_unit)
    sanitised: dict[int, datetime] = {}
    for (unit_id, kind, _), at in last_done.items():
        if kind == Need.Kind.SANITISE:
            sanitised[unit_id] = max(at, sanitised.get(unit_id, at))
    done_by_unit: dict[int, dict[str, datetime]] = defaultdict(dict)
    for (unit_id, _, key), at in last_done.items():
        done_by_unit[unit_id][key] = at

    def day(moment: datetime | None) -> date | None:
        return company.day_at(moment) if moment is not None else None

    facts = tuple(
        UnitFacts(
            key=unit.pk,
            use=unit.use,
            commissioned_on=unit.commissioned_on,
            has_pressurised_tank=unit.tank == Unit.Tank.PRESSURISED,
            positions=tuple(
                _position_facts(position, installed, items, newest.get(position.pk), suiting.get(position.pk))
                for position in trains[unit.pk]
            ),
            findings=tuple(_finding_facts(row, unit) for row in findings.get(unit.pk, ())),
            last_read_on=day(read.get(unit.pk)),
            last_sanitised_on=day(sanitised.get(unit.pk)),
            seen_on=day(seen.get(unit.pk)),
            asked_on=day(last_asked.get(unit.pk)),
            kept_since=day(unit.created_at),
            done=done_by_unit.get(unit.pk, {}),
            parts=parts.get(unit.pk, {}),
            has_client=not is_of_nobody(unit.site.client),
        )
        for unit in here.values()
    )
    return FleetFacts(
        units=here,
        facts=facts,
        forecasts={row.pk: row for row in latest.values()},
        findings={row.pk: row for unit_findings in findings.values() for row in unit_findings},
    )


def _newest_items(placements: "QuerySet[Placement]", installed: Mapping[int, Placement]) -> dict[int, CatalogueItem]:
    """Position to the item that is or was last installed there."""
    # rising by date of removal, so that the newest cartridge of a position is the one that stays in the table
    removed = placements.filter(removed_at__isnull=False).order_by("removed_at", "pk")
    item_of = dict(removed.values_list("position_id", "item_id"))
    item_of |= {position: row.item_id for position, row in installed.items()}
    items = CatalogueItem.objects.in_bulk(set(item_of.values()))
    return {position: items[item] for position, item in item_of.items()}


def _latest_forecasts(company: Company, in_position: Q, installed: Mapping[int, Placement]) -> dict[int, Forecast]:
    """Position to its newest forecast, as far as `facts_of_forecasts` reads it, with the cartridge it speaks of."""
    forecasts = Forecast.objects.of_company(company).filter(in_position, is_latest=True)
    latest = {row.position_id: row for row in forecasts.defer(*all_but(Forecast, OF_FORECAST))}
    cartridges = {row.pk: row for row in installed.values()}
    others = {row.placement_id for row in latest.values() if row.placement_id is not None} - cartridges.keys()
    # one that was voided since is spoken of all the same
    cartridges |= Placement._base_manager.in_bulk(others)
    for row in latest.values():
        if row.placement_id is not None:
            row.placement = cartridges[row.placement_id]
    return latest


def _fitting_parts(
    company: Company, findings: Mapping[int, Sequence[Finding]], today: date
) -> dict[int, dict[str, PartFacts]]:
    """The parts that the findings of units call for, chosen for each unit."""
    wanted = {unit: {part for row in rows if (part := part_for("", row.cause))} for unit, rows in findings.items()}
    # the whole of the company's day counts, so that a second look on it gives the same
    end = datetime.combine(today + timedelta(days=1), time(), tzinfo=company.zone)
    return {
        unit: {purpose: PartFacts(part.item, part.missing_part) for purpose, part in by_purpose.items()}
        for unit, by_purpose in fitting_parts(company=company, wanted=wanted, now=end).items()
    }


def _done(company: Company, in_unit: Q) -> dict[tuple[int, str, str], datetime]:
    """(unit, kind, key) of work to when it was last done."""
    rows = Need.objects.of_company(company).filter(in_unit, state=Need.State.DONE, closed_at__isnull=False).order_by()
    newest = rows.values("unit_id", "kind", "key").annotate(newest=Max("closed_at"))
    return {(row["unit_id"], row["kind"], row["key"]): row["newest"] for row in newest}


def _position_facts(
    position: Position,
    installed: Mapping[int, Placement],
    items: Mapping[int, CatalogueItem],
    forecast: ForecastFacts | None,
    suiting: FittingPart | None,
) -> PositionFacts:
    placement, item = installed.get(position.pk), items.get(position.pk)
    return PositionFacts(
        key=position.pk,
        stage=position.stage,
        role=Role(position.role),
        cartridge=placement.pk if placement is not None else None,
        item=suiting.item if suiting is not None and suiting.item else item.pk if item is not None else None,
        missing_part=suiting.missing_part if suiting is not None else "",
        price=float(item.price) if item is not None else 0.0,
        newest_forecast=forecast,
    )


def _finding_facts(row: Finding, unit: Unit) -> FindingFacts:
    return FindingFacts(
        key=row.pk,
        cause=row.cause,
        work=work_for(row.cause, has_booster_pump=unit.has_booster_pump),
        seen_at=row.reading.taken_at if row.reading is not None else row.last_seen_at,
        is_confirmed=row.state == Finding.State.CONFIRMED,
        sentence=row.installer_sentence or f"{row.cause.replace('_', ' ').capitalize()} ({row.rule}).",
    )
