"""What a company's units call for as of one day, written as unsaved `Need` rows.

Three sources speak: forecasts (replace, rotate), live findings (whatever `need_rules` says) and the calendar
(sanitising, units that nobody reads). The same situation gives the same key, so that looking again changes nothing.
"""

import math
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db.models import Max, Q

from accounts.models import Company
from fleet.models import CatalogueItem, Finding, Forecast, Placement, Position, Reading, Unit
from fleet.services.forecasts.rows import TENTHS
from scheduling.models import Need
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, exhausted_probability, median_days
from scheduling.services.needs.rules import work_for
from scheduling.services.policy import ServicePolicy

Kind, Source = Need.Kind, Need.Source

_STAGE_NAMES = {"sediment": "sediment filter", "carbon": "carbon", "membrane": "membrane", "resin": "resin"}


def position_name(position: Position) -> str:
    """What a practitioner calls a position: 'lead resin', 'membrane'."""
    name = _STAGE_NAMES[position.stage]
    return name if position.role == Position.Role.SINGLE else f"{position.role} {name}"


def quantile_days(forecast: Forecast, today: date) -> tuple[float, ...]:
    """The stored distribution in days from today, at `DISTRIBUTION_LEVELS`; empty when the forecast has no date.

    What is exhausted by the end of a day counts as of that day, so that a probability by a day is the forecast's own.
    """
    last_tenth_today = TENTHS * ((today - forecast.as_of).days + 1) - 1
    return tuple((tenth - last_tenth_today) / TENTHS for tenth in forecast.date_grid[-len(DISTRIBUTION_LEVELS) :])


@dataclass(slots=True)
class _Fleet:
    """Everything that is looked at, read once for the whole company."""

    units: list[Unit]
    standing: dict[int, Placement]
    last_item: dict[int, CatalogueItem]
    forecasts: dict[int, Forecast]
    findings: dict[int, list[Finding]] = field(default_factory=lambda: defaultdict(list))
    last_read: dict[int, datetime] = field(default_factory=dict)
    sanitised: dict[int, datetime] = field(default_factory=dict)
    done: dict[str, datetime] = field(default_factory=dict)


def _read_fleet(company: Company, today: date, only: Collection[int] | None) -> _Fleet:
    chosen = Unit.objects.of_company(company) if only is None else Unit.objects.of_company(company).filter(pk__in=only)
    units = list(
        chosen.filter(Q(retired_on__isnull=True) | Q(retired_on__gt=today), commissioned_on__lte=today)
        .select_related("site")
        .prefetch_related("positions")
        .order_by("pk")
    )
    placements = Placement.objects.of_company(company)
    latest = Forecast.objects.of_company(company).filter(is_latest=True)
    live = Finding.objects.of_company(company).filter(state__in=[Finding.State.OPEN, Finding.State.CONFIRMED])
    readings = Reading.objects.of_company(company)
    done = Need.objects.of_company(company).filter(state=Need.State.DONE, closed_at__isnull=False)
    if only is not None:
        placements, latest = placements.filter(position__unit__in=only), latest.filter(position__unit__in=only)
        live, readings, done = live.filter(unit__in=only), readings.filter(unit__in=only), done.filter(unit__in=only)
    standing = {
        placement.position_id: placement
        for placement in placements.filter(removed_at__isnull=True).select_related("item")
    }
    # rising by date of removal, so that the newest cartridge of a position is the one that stays in the table
    last_item = {
        placement.position_id: placement.item
        for placement in placements.filter(removed_at__isnull=False)
        .exclude(position_id__in=standing.keys())
        .select_related("item")
        .order_by("removed_at", "pk")
    }
    forecasts = {f.position_id: f for f in latest}
    fleet = _Fleet(units, standing, last_item, forecasts)
    for finding in live.select_related("reading").order_by("-confidence", "pk"):
        fleet.findings[finding.unit_id].append(finding)
    fleet.last_read = dict(readings.order_by().values_list("unit").annotate(newest=Max("taken_at")))
    fleet.sanitised = dict(
        done.filter(kind=Kind.SANITISE).order_by().values_list("unit").annotate(newest=Max("closed_at"))
    )
    fleet.done = dict(done.order_by().values_list("key").annotate(newest=Max("closed_at")))
    return fleet


def wanted_needs(
    *, company: Company, policy: ServicePolicy, today: date, units: Collection[int] | None = None
) -> list[Need]:
    """Every task the company's units call for, unsaved and without its curve, ordered by key.

    Parameters
    ----------
    company
        Whose units.
    policy
        Prices and thresholds.
    today
        The company's day.
    units
        Ids of the units that are looked at; None: all.
    """
    fleet = _read_fleet(company, today, units)
    wanted: dict[str, Need] = {}
    for unit in fleet.units:
        writer = _Writer(company, policy, today, fleet, unit)
        writer.from_forecasts()
        writer.from_findings()
        writer.from_calendar()
        wanted.update(writer.needs)
    return [wanted[key] for key in sorted(wanted)]


class _Writer:
    """Writes the needs of one unit."""

    def __init__(self, company: Company, policy: ServicePolicy, today: date, fleet: _Fleet, unit: Unit) -> None:
        self.company, self.policy, self.today, self.fleet, self.unit = company, policy, today, fleet, unit
        self.positions: list[Position] = sorted(unit.positions.all(), key=lambda p: (p.order, p.pk))
        self.needs: dict[str, Need] = {}

    # -- forecasts

    def from_forecasts(self) -> None:
        """Replace what will be exhausted within the weeks weighed; a spent lead with a lag behind it is rotated."""
        for position in self.positions:
            if position.role == Position.Role.SINGLE:
                self._replace_when_due(position)
        for lead, lag in self._pairs():
            self._pair(lead, lag)

    def _pairs(self) -> Iterable[tuple[Position, Position | None]]:
        by_role = {(p.stage, p.role): p for p in self.positions}
        for (stage, role), position in by_role.items():
            if role == Position.Role.LEAD:
                yield position, by_role.get((stage, Position.Role.LAG))
            elif role == Position.Role.LAG and (stage, Position.Role.LEAD) not in by_role:
                yield position, None

    def _pair(self, lead: Position, lag: Position | None) -> None:
        if lag is None or self._standing_item(lag) is None:
            for position in (lead, lag):
                if position is not None:
                    self._replace_when_due(position)
            return
        lead_forecast, lag_forecast = self._dated(lead), self._dated(lag)
        lag_is_spent = lag_forecast is not None and lag_forecast.state == Forecast.State.SPENT
        if lag_is_spent:
            # a spent lag moved to lead polishes nothing: both go
            self._replace_when_due(lag)
            self._replace_when_due(lead)
            return
        if lead_forecast is None:
            self._replace_when_due(lead)
            self._replace_when_due(lag)
            return
        if lag_forecast is not None and (
            lag_forecast.driver == Forecast.Driver.TIME_CAP
            and median_days(quantile_days(lag_forecast, self.today))
            <= median_days(quantile_days(lead_forecast, self.today))
        ):
            # the lag reaches its age limit before the lead is spent, so the rotation would come too late for it
            self._rotate(lead, lag, lead_forecast, None)
            self._replace_when_due(lag)
        else:
            self._rotate(lead, lag, lead_forecast, lag_forecast)

    def _rotate(self, lead: Position, lag: Position, forecast: Forecast, lag_forecast: Forecast | None) -> None:
        if not self._is_within_weeks(forecast):
            return
        costs = self._lead_costs(lead, lag_forecast)
        self._add(
            Kind.ROTATE,
            self._at(Kind.ROTATE, lead),
            Source.FORECAST,
            position=lead,
            label=position_name(lead),
            item=self._standing_item(lag),
            forecast=forecast,
            is_urgent=self._is_urgent(lag_forecast or forecast, costs["late_cost_per_day"]),
            reason=forecast.installer_sentence,
            **costs,
        )

    def _lead_costs(self, lead: Position, lag_forecast: Forecast | None) -> dict[str, Any]:
        """What a lead is worth, and what leaving it costs before and after its lag is spent."""
        standing = self.fleet.standing.get(lead.pk)
        late, share = self._late_cost(lead), self.policy.house.lead_late_share
        return {
            "price": float(standing.item.price) if standing is not None else 0.0,
            "lag_forecast": lag_forecast,
            "late_cost_per_day": late if lag_forecast is not None else late * share,
            "worn_cost_per_day": late * share if lag_forecast is not None else 0.0,
        }

    def _replace_when_due(self, position: Position) -> None:
        forecast = self._dated(position)
        if forecast is None:
            if position.pk not in self.fleet.standing:
                self._add(
                    Kind.INSPECT,
                    self._at_unit(Kind.INSPECT),
                    Source.CALENDAR,
                    label="unit",
                    reason=f"No cartridge is recorded in {position_name(position)}: look, and log what stands there.",
                )
            return
        if not self._is_within_weeks(forecast):
            return
        rate = self._late_cost(position)
        self._replace(position, Source.FORECAST, forecast, rate, self._is_urgent(forecast, rate))

    def _replace(
        self,
        position: Position,
        source: Need.Source,
        forecast: Forecast | None,
        rate: float,
        is_urgent: bool,
        **more: Any,
    ) -> Need:
        item = self._standing_item(position)
        more.setdefault("reason", forecast.installer_sentence if forecast is not None else "")
        return self._add(
            Kind.REPLACE,
            self._at(Kind.REPLACE, position),
            source,
            position=position,
            label=position_name(position),
            item=item,
            price=float(item.price) if item is not None else 0.0,
            late_cost_per_day=rate,
            forecast=forecast,
            is_urgent=is_urgent,
            **more,
        )

    # -- findings

    def from_findings(self) -> None:
        """Work that a person would do on seeing what the readings show."""
        for finding in self.fleet.findings.get(self.unit.pk, ()):
            work = work_for(cause=finding.cause, unit=self.unit)
            if work is None:
                continue
            if work.kind == Kind.ROTATE:
                self._rotate_on(finding)
            elif work.stage:
                self._replace_on(finding, work.stage, work.urgent)
            else:
                key = self._at_unit(work.kind, finding.cause if work.kind == Kind.REPAIR else "")
                if self._was_done_since(key, finding):
                    continue
                self._add(
                    work.kind,
                    key,
                    Source.FINDING,
                    label=work.label or "unit",
                    finding=finding,
                    cause=finding.cause,
                    is_urgent=work.urgent,
                    reason=_finding_reason(finding),
                )

    def _replace_on(self, finding: Finding, stage: str, urgent: bool) -> None:
        # what got past the last of a stage has got past them all, whichever position the finding names
        for position in (p for p in self.positions if p.stage == stage):
            if self._was_done_since(self._at(Kind.REPLACE, position), finding):
                continue
            self.needs.pop(self._at(Kind.ROTATE, position), None)
            self._replace(
                position,
                Source.FINDING,
                self._dated(position),
                self._late_cost(position),
                urgent,
                finding=finding,
                cause=finding.cause,
                reason=_finding_reason(finding),
            )

    def _rotate_on(self, finding: Finding) -> None:
        for lead, lag in self._pairs():
            if lead.stage != "resin" or lag is None or self._at(Kind.REPLACE, lead) in self.needs:
                continue
            key = self._at(Kind.ROTATE, lead)
            if self._was_done_since(key, finding):
                continue
            lag_forecast = self._dated(lag)
            if lag_forecast is not None and lag_forecast.state == Forecast.State.SPENT:
                # the reading has seen the lead, the forecast the lag: both go, as the finding says
                self._replace(
                    lead,
                    Source.FINDING,
                    self._dated(lead),
                    self._late_cost(lead),
                    is_urgent=False,
                    finding=finding,
                    cause=finding.cause,
                    reason=_finding_reason(finding),
                )
                continue
            self._add(
                Kind.ROTATE,
                key,
                Source.FINDING,
                position=lead,
                label=position_name(lead),
                item=self._standing_item(lag),
                forecast=self._dated(lead),
                finding=finding,
                cause=finding.cause,
                reason=_finding_reason(finding),
                **self._lead_costs(lead, lag_forecast),
            )

    def _was_done_since(self, key: str, finding: Finding) -> bool:
        """Whether the same work was done after the newest reading the finding rests on."""
        done = self.fleet.done.get(key)
        seen = finding.reading.taken_at if finding.reading is not None else finding.last_seen_at
        return done is not None and done >= seen

    # -- the calendar

    def from_calendar(self) -> None:
        """Sanitise pressurised tanks in their interval; look at units that nobody reads."""
        if self.unit.tank == Unit.Tank.PRESSURISED:
            self._sanitise()
        self._unread()

    def _sanitise(self) -> None:
        house = self.policy.house
        last = self.fleet.sanitised.get(self.unit.pk)
        since = last.date() if last is not None else self.unit.commissioned_on
        due = since + timedelta(days=house.sanitise_every_days)
        if (due - self.today).days > 7 * self.policy.planning.bundling_weeks:
            return
        said = f"last done on {since:%d %b %Y}" if last is not None else f"none on record since {since:%d %b %Y}"
        self._add(
            Kind.SANITISE,
            self._at_unit(Kind.SANITISE),
            Source.CALENDAR,
            label="tank and housings",
            not_before=due - timedelta(days=house.sanitise_early_days),
            due_on=due,
            reason=f"Pressurised tank: sanitise every {house.sanitise_every_days} days, {said}, due on {due:%d %b %Y}.",
        )

    def _unread(self) -> None:
        last = self.fleet.last_read.get(self.unit.pk)
        since = last if last is not None else datetime.combine(self.unit.commissioned_on, datetime.min.time(), UTC)
        days = (self.today - since.date()).days
        if days < self.policy.house.unread_after_days:
            return
        said = (
            f"Nobody has read it for {days} days"
            if last is not None
            else f"No reading since it was put in {days} days ago"
        )
        self._add(
            Kind.INSPECT,
            self._at_unit(Kind.INSPECT),
            Source.CALENDAR,
            label="unit",
            reason=f"{said}: its forecasts rest on its label and load alone.",
        )

    # -- shared

    def _dated(self, position: Position) -> Forecast | None:
        """The position's newest forecast, if it is of the cartridge that stands there and has a date."""
        forecast = self.fleet.forecasts.get(position.pk)
        standing = self.fleet.standing.get(position.pk)
        if forecast is None or standing is None or not quantile_days(forecast, self.today):
            return None
        return forecast if forecast.placement_id == standing.pk else None

    def _is_within_weeks(self, forecast: Forecast) -> bool:
        assert forecast.p10 is not None  # it has a date
        return (forecast.p10 - self.today).days <= 7 * self.policy.planning.bundling_weeks

    def _is_urgent(self, forecast: Forecast, rate: float) -> bool:
        planning = self.policy.planning
        if rate < planning.urgent_late_cost_per_day:
            return False
        exhausted = exhausted_probability([quantile_days(forecast, self.today)], [0.0])[0, 0]
        return bool(exhausted >= planning.urgent_probability)

    def _standing_item(self, position: Position) -> CatalogueItem | None:
        """What to fit: the same item again."""
        standing = self.fleet.standing.get(position.pk)
        return standing.item if standing is not None else self.fleet.last_item.get(position.pk)

    def _late_cost(self, position: Position) -> float:
        return self.policy.planning.late_cost(position.stage, self.unit.use)

    def _at(self, kind: Need.Kind, position: Position) -> str:
        standing = self.fleet.standing.get(position.pk)
        return f"{kind.value}:{position.pk}:{standing.pk if standing is not None else 0}"

    def _at_unit(self, kind: Need.Kind, cause: str = "") -> str:
        return ":".join([kind.value, f"unit-{self.unit.pk}", *([cause] if cause else [])])

    def _add(self, kind: Need.Kind, key: str, source: Need.Source, **values: Any) -> Need:
        """Write a need; of two reasons for one task both are kept, and the finding speaks first."""
        earlier = self.needs.get(key)
        if earlier is not None:
            if earlier.finding is not None or values.get("finding") is None:
                values = {f: getattr(earlier, f) for f in _KEPT} | {
                    "is_urgent": earlier.is_urgent or values.get("is_urgent", False),
                    "reason": _join(earlier.reason, values.get("reason", "")),
                }
                source = Need.Source(earlier.source)
            else:
                values["is_urgent"] = earlier.is_urgent or values.get("is_urgent", False)
                values["reason"] = _join(values.get("reason", ""), earlier.reason)
        values.setdefault("late_cost_per_day", self.policy.undone_cost(kind.value))
        need = Need(
            company=self.company,
            site=self.unit.site,
            unit=self.unit,
            kind=kind,
            key=key,
            source=source,
            minutes=math.ceil(self.policy.planning.minutes_for(kind.value)),
            skills=self.policy.skills_for(kind.value),
            **values,
        )
        self.needs[key] = need
        return need


_KEPT = (
    "position",
    "label",
    "item",
    "price",
    "late_cost_per_day",
    "worn_cost_per_day",
    "forecast",
    "lag_forecast",
    "finding",
    "cause",
    "not_before",
    "due_on",
)


def _join(first: str, second: str) -> str:
    return first if not second or second in first else f"{first} {second}".strip()


def _finding_reason(finding: Finding) -> str:
    said = finding.installer_sentence or f"{finding.cause.replace('_', ' ').capitalize()} ({finding.rule})."
    return said if finding.state != Finding.State.CONFIRMED else f"{said} Confirmed by a person."
