"""What needs somebody's attention: one row a visit or unit, by kind, dearest to leave first, and how to settle it.

What is being dealt with, because a visit is confirmed or under way that has it among its tasks, needs nobody's
attention any more; it is only counted.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from functools import cached_property, partial
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from accounts.kept_answers import KeptAnswers
from accounts.models import Company
from fleet.engineering.diagnosis import BAD_WATER, CAUSES, NoWork
from fleet.models import Finding, Site, Stage, Unit
from fleet.services.units.sites_not_known import CLIENT_NOT_KNOWN
from scheduling.models import Message, Need, PartsLine, PartsList, Plan, StockLevel, Stop, Visit, VisitTask
from scheduling.services.attention_rows import FindingRow, LikelyNeed, read_findings, read_likely, rows_of_likely
from scheduling.services.matters import Kind, Reason, UnitsSpokenOf, in_rows
from scheduling.services.needs.reading import may_be_exhausted
from scheduling.services.needs.rows import NeedRow, read_needs
from scheduling.services.needs.waiting import cost_of_a_week
from scheduling.services.orders.late import late_deliveries
from scheduling.services.people.messages import call_back_by
from scheduling.services.policy import read_policy
from scheduling.services.rounds.faults import IN_NO_ROUND, faults_of
from scheduling.services.rounds.not_planned import is_within_reach
from scheduling.services.rounds.offers import is_outdated
from scheduling.services.settling import Settle
from scheduling.services.stock.lots import expired_pieces
from scheduling.services.words import attention as words

#: How far ahead is 'soon': common practice, no source.
SOON: Final = timedelta(days=14)
# An offer that nobody answered for so long is worth a call: common practice, no source.
_ANSWER_WITHIN: Final = timedelta(days=3)
#: Causes that explain a reading or lie years ahead; they are stored and served, but need nobody's attention.
EXPLAINS_ONLY: Final = frozenset(
    code for code, cause in CAUSES.items() if cause.work in (NoWork.EXPLAINED, NoWork.YEARS_AHEAD)
)
#: Causes for which somebody is to read the unit.
UNREAD: Final = frozenset(code for code, cause in CAUSES.items() if cause.work is NoWork.READING_ASKED)
_GUARDS_OF_MEMBRANE: Final = (Stage.SEDIMENT, Stage.CARBON)


def needs_attention(*, company: Company, now: datetime) -> list[Kind]:
    """Everything that needs attention now, by kind; kinds without a matter are there too.

    Parameters
    ----------
    company
        Whose.
    now
        The present moment.
    """
    return in_rows(_Attention(company, now).kinds())


class _VisitOfNeed(NamedTuple):
    pk: int
    state: str


class _Attention:
    def __init__(self, company: Company, now: datetime) -> None:
        self.company, self.now, self.today = company, now, company.day_at(now)
        policy = read_policy(company=company)
        self.policy, self.rules = policy.planning, policy.rules
        self.units = UnitsSpokenOf()

    def kinds(self) -> Iterator[tuple[str, list[Reason], int]]:
        findings = {"bad_water": [], "faults": [], "unread": []}  # type: dict[str, list[FindingRow]]
        for finding in self._findings:
            if finding.rule in BAD_WATER:
                findings["bad_water"].append(finding)
            elif finding.cause in UNREAD:
                findings["unread"].append(finding)
            else:
                findings["faults"].append(finding)
        bad_units = {finding.unit_id for finding in findings["bad_water"]}
        yield self._kind("bad_water", map(self._of_finding, findings["bad_water"]))
        by = self.today + SOON
        due_soon = [need for need in self._likely_exhausted(by) if need.unit_id not in bad_units]
        guards = [need for need in due_soon if need.stage in _GUARDS_OF_MEMBRANE]
        others = [need for need in due_soon if need.stage not in _GUARDS_OF_MEMBRANE]
        yield self._kind("bad_water_soon", (self._of_forecast(need, by) for need in others))
        yield self._kind("endangers_membrane", (self._of_forecast(need, by) for need in guards))
        # what a forecast and a reading say of one task is one matter, shown where it does more harm
        with_forecast = {need.finding_id for need in due_soon}
        faults = (finding for finding in findings["faults"] if finding.pk not in with_forecast)
        yield self._kind("faults", map(self._of_finding, faults))
        # somebody waits at the telephone, often for an hour that was named
        yield self._kind("calls", self._calls())
        yield self._kind("unread", self._unread(findings["unread"]))
        yield self._kind("parts_missing", self._parts_missing())
        yield self._kind("late_deliveries", self._late())
        yield self._kind("expired_stock", self._expired())
        yield self._kind("orders_not_sent", self._orders_not_sent())
        yield self._kind("unanswered", self._unanswered())
        yield self._kind("in_no_round", self._in_no_round())
        yield self._kind("broken_rounds", self._broken_rounds())

    def _kind(self, code: str, found: Iterable[Reason | bool | None]) -> tuple[str, list[Reason], int]:
        """None is nothing to speak of, True is being dealt with."""
        rows = list(found)
        reasons = [row for row in rows if isinstance(row, Reason)]
        for reason in reasons:
            reason.kind = code
        return code, reasons, sum(row is True for row in rows)

    # what is read once

    @cached_property
    def _findings(self) -> list[FindingRow]:
        rows = Finding.objects.of_company(self.company).filter(state__in=Finding.LIVE).exclude(cause__in=EXPLAINS_ONLY)
        return read_findings(rows.order_by("-confidence", "pk"))

    @cached_property
    def _finding_of(self) -> dict[int, FindingRow]:
        return {finding.pk: finding for finding in self._findings}

    @cached_property
    def _needs(self) -> "QuerySet[Need]":
        return Need.objects.of_company(self.company).filter(Need.TAKES_A_VISIT, state=Need.State.OPEN)

    @cached_property
    def _need_of_finding(self) -> dict[int, NeedRow]:
        rows = read_needs(self._needs.filter(finding__isnull=False))
        return {need.finding_id: need for need in rows if need.finding_id is not None}

    @cached_property
    def _visit_of_need(self) -> dict[int, _VisitOfNeed]:
        """The live visit that has a need among its tasks."""
        tasks = VisitTask.objects.filter(visit__company=self.company, visit__state__in=Visit.LIVE)
        rows = tasks.order_by("pk").values_list("need_id", "visit_id", "visit__state")
        return {need: _VisitOfNeed(visit, state) for need, visit, state in rows}

    @cached_property
    def _stop_of_visit(self) -> dict[int, tuple[int, datetime]]:
        """The published plan that has a visit to come, and when it starts there."""
        stops = Stop.objects.filter(
            round__plan__company=self.company, round__plan__state=Plan.State.PUBLISHED, starts_at__gt=self.now
        )
        rows = stops.order_by("pk").values_list("visit_id", "round__plan_id", "starts_at")
        return {visit: (plan, starts_at) for visit, plan, starts_at in rows}

    # reasons

    def _of_finding(self, finding: FindingRow) -> Reason | bool:
        need = self._need_of_finding.get(finding.pk)
        visit = self._visit_of_need.get(need.pk) if need is not None else None
        if visit is not None and visit.state in Visit.CONFIRMED_OR_UNDER_WAY:
            return True
        return self._at_unit(
            finding.unit_id,
            finding.sentence,
            self._settle(visit, finding.pk, finding.state),
            begins=f"{finding.unit_code}: ",
            visit=visit.pk if visit is not None else None,
            cost_of_waiting=cost_of_a_week(need, day=self.today) if need is not None else None,
            probability=finding.confidence,
        )

    def _likely_exhausted(self, by: date) -> list[LikelyNeed]:
        """Changes that forecasts call for where the risk that the owner bears is passed by a day, with that risk."""
        risk = self.policy.target_risk
        # of most of a company's needs nothing is told: they are left in the database
        needs = self._needs.filter(may_be_exhausted(by, risk))
        kept = KeptAnswers(("likely exhausted", self.company.pk, self.today, by, risk), lambda: rows_of_likely(needs))
        found = kept.of(["all"], lambda names, at: {"all": read_likely(needs, today=self.today, day=by, risk=risk)})
        return found["all"]

    def _of_forecast(self, need: LikelyNeed, by: date) -> Reason | bool:
        visit = self._visit_of_need.get(need.pk)
        if visit is not None and visit.state in Visit.CONFIRMED_OR_UNDER_WAY:
            return True
        return self._at_unit(
            need.unit_id,
            partial(need.sentence, by, self._finding_of.get(need.finding_id or 0)),
            self._settle(visit, need.finding_id, need.finding_state),
            begins=f"{need.unit_code}: ",
            visit=visit.pk if visit is not None else None,
            cost_of_waiting=need.cost_of_waiting,
            probability=round(need.probability, 3),
            day=by,
        )

    def _unread(self, findings: Sequence[FindingRow]) -> Iterator[Reason]:
        """Readings that are wanted, and units of which nothing was heard for weeks."""
        rows = Need.objects.of_company(self.company).filter(state=Need.State.OPEN, kind=Need.Kind.TAKE_READING)
        wanted = rows.exclude(reading_way="").exclude(reading_way=Need.ReadingWay.NEXT_VISIT)
        wanted_of = set()
        of_nobody = Unit.objects.of_company(self.company).filter(
            Unit.is_in_use_on(self.today), site__client__name=CLIENT_NOT_KNOWN
        )
        for unit in of_nobody.select_related("site").order_by("pk"):
            wanted_of.add(unit.pk)
            settle = Settle(words.complete_site(unit.site), "PATCH", f"/api/v1/sites/{unit.site_id}/")
            yield self._at_unit(unit.pk, words.of_nobody(unit), settle, begins=f"{unit.code}: ")
        columns = ("unit_id", "unit__code", "reason", "reading_saves", "reading_price")
        of_somebody = wanted.exclude(unit__in=set(wanted_of)).order_by("pk")
        for unit_id, code, reason, saves, costs in of_somebody.values_list(*columns):
            wanted_of.add(unit_id)
            settle = Settle(words.enter_reading(), "POST", f"/api/v1/units/{unit_id}/readings/")
            sentence = partial(words.of_wanted_reading, code, reason)
            worth = max(saves - costs, 0.0)
            yield self._at_unit(unit_id, sentence, settle, begins=f"{code}: ", cost_of_waiting=worth)
        for finding in findings:
            if finding.unit_id not in wanted_of:
                settle = Settle(words.enter_reading(), "POST", f"/api/v1/units/{finding.unit_id}/readings/")
                begins = f"{finding.unit_code}: "
                yield self._at_unit(finding.unit_id, finding.sentence, settle, begins=begins)

    def _parts_missing(self) -> Iterator[Reason]:
        """Confirmed visits whose parts are neither aboard, nor in the store, nor on order in time."""
        lines = PartsLine.objects.filter(
            parts_list__company=self.company,
            parts_list__scope=PartsList.Scope.VISIT,
            parts_list__visit__state=Visit.State.CONFIRMED,
            short__gt=0,
        ).select_related("item", "parts_list__visit__site__client")
        by_visit: dict[int, list[PartsLine]] = {}
        for line in lines.order_by("parts_list__visit__appointment_at", "pk"):
            by_visit.setdefault(line.parts_list.visit_id or 0, []).append(line)
        for rows in by_visit.values():
            visit = rows[0].parts_list.visit
            assert visit is not None
            settle = Settle(words.draft_orders(), "POST", "/api/v1/purchase-orders/draft/")
            yield self._at_visit(visit, words.of_missing_parts(visit, rows), settle)

    def _late(self) -> Iterator[Reason]:
        late_lines = late_deliveries(company=self.company, now=self.now)
        firsts = [late.visits[0].visit.site_id for late in late_lines if late.visits]
        sites = Site.objects.of_company(self.company).select_related("client").in_bulk(firsts)
        for late in late_lines:
            path = f"/api/v1/purchase-orders/{late.line.order_id}/expect/"
            settle = Settle(words.ask_supplier(late.line.order.supplier.name), "POST", path)
            first = late.visits[0] if late.visits else None
            site = sites.get(first.visit.site_id) if first is not None else None
            yield Reason(
                tells=late.sentence,
                settle=settle,
                at=site,
                visit=first.visit.pk if first is not None else None,
                day=first.day if first is not None else late.line.expected_on,
            )

    def _orders_not_sent(self) -> Iterator[Reason]:
        """Orders whose e-mail the mail server has refused, or that nobody could send."""
        rows = Message.objects.of_company(self.company).filter(audience=Message.Audience.SUPPLIER)
        refused = Q(state=Message.State.TO_CALL) | Q(state=Message.State.WAITING, attempts__gt=0)
        for message in rows.filter(refused).select_related("order__supplier").order_by("created_at", "pk"):
            order = message.order
            assert order is not None
            if message.state == Message.State.TO_CALL and message.kind == Message.Kind.ORDER:
                settle = Settle(words.send_order_again(), "POST", f"/api/v1/purchase-orders/{order.pk}/send/")
            elif message.state == Message.State.TO_CALL:
                settle = Settle(words.note_call(), "POST", f"/api/v1/messages/{message.pk}/called/")
            else:
                settle = Settle(words.check_email(), "PATCH", f"/api/v1/suppliers/{order.supplier_id}/")
            yield Reason(
                tells=words.of_order_not_sent(message, order),
                settle=settle,
                day=self.company.day_at(message.created_at),
            )

    def _expired(self) -> Iterator[Reason]:
        """Pieces that may not be used any more, wherever they lie."""
        levels = StockLevel.objects.of_company(self.company).exclude(lots=[]).select_related("item", "installer")
        for level in levels.order_by("item__code", "installer__name", "pk"):
            pieces = expired_pieces(level, self.today)
            if pieces:
                body = {"item": level.item_id, "kind": "scrap", "pieces": pieces, "reason": words.expired()}
                if level.installer_id is not None:
                    body["from_installer"] = level.installer_id
                settle = Settle(words.scrap(), "POST", "/api/v1/stock-movements/", body)
                yield Reason(words.of_expired(level, pieces), settle)

    def _unanswered(self) -> Iterator[Reason | None]:
        """Offers that nobody answered for days, or whose first window opens within so many."""
        offered = Visit.objects.of_company(self.company).filter(state=Visit.State.OFFERED)
        for visit in offered.select_related("site__client").order_by("pk"):
            opens = min((datetime.fromisoformat(offer["opens_at"]) for offer in visit.offers), default=self.now)
            if visit.updated_at + _ANSWER_WITHIN > self.now and opens - _ANSWER_WITHIN > self.now:
                continue
            plan, starts_at = self._stop_of_visit.get(visit.pk, (0, None))
            if starts_at is not None and is_outdated(visit, starts_at):
                settle = Settle(words.offer_again(), "POST", f"/api/v1/plans/{plan}/offer/")
                yield self._at_visit(visit, words.of_outdated_offer(visit, starts_at), settle)
                continue
            settle = Settle(words.note_time(), "POST", f"/api/v1/visits/{visit.pk}/accept/")
            yield self._at_visit(visit, words.of_unanswered(visit, opens), settle)

    def _calls(self) -> Iterator[Reason]:
        """What clients and installers must be told by telephone."""
        rows = Message.objects.of_company(self.company).filter(state=Message.State.TO_CALL)
        rows = rows.exclude(audience=Message.Audience.SUPPLIER)
        about = ("client", "visit__site__client", "finding__unit__site__client")
        for message in rows.select_related(*about).order_by("created_at", "pk"):
            visit = message.visit
            unit = message.finding.unit if message.finding is not None else None
            site = visit.site if visit is not None else unit.site if unit is not None else None
            yield Reason(
                tells=message.subject,
                settle=Settle(words.note_call(), "POST", f"/api/v1/messages/{message.pk}/called/"),
                unit_id=unit.pk if unit is not None else None,
                units=self.units,
                at=site,
                whom=message.client,
                visit=message.visit_id,
                day=self._call_by(message, site),
            )

    def _call_by(self, message: Message, site: Site | None) -> date:
        """The day by which a client was promised a call; of other calls, that on which they were asked for."""
        if message.kind != Message.Kind.CALL_BACK or site is None:
            return self.company.day_at(message.created_at)
        return call_back_by(message.created_at, self.rules.call_back_hours, ZoneInfo(site.time_zone)).date()

    def _in_no_round(self) -> Iterator[Reason]:
        """Confirmed visits within the reach of a plan, for which nobody drives."""
        plans = Plan.objects.of_company(self.company).filter(state=Plan.State.PUBLISHED)
        spans = [(plan.first_day, plan.last_day) for plan in plans]
        confirmed = Visit.objects.of_company(self.company).filter(
            state=Visit.State.CONFIRMED, appointment_at__gt=self.now
        )
        for visit in confirmed.select_related("site__client").order_by("appointment_at", "pk"):
            assert visit.appointment_at is not None
            day = self.company.day_at(visit.appointment_at)
            if visit.pk in self._stop_of_visit or not is_within_reach(day, self.today):
                continue
            if any(first <= day <= last for first, last in spans):
                body = {"first_day": day.isoformat(), "days": 1}
                settle = Settle(words.plan_day(day), "POST", "/api/v1/plans/", body)
            else:
                settle = Settle(words.plan_through(day), "POST", "/api/v1/plans/")
            yield self._at_visit(visit, words.of_no_round(visit), settle)

    def _broken_rounds(self) -> Iterator[Reason]:
        """Stops of published rounds that nobody can make, or not then."""
        plans = [
            plan
            for plan in Plan.objects.of_company(self.company).filter(state=Plan.State.PUBLISHED)
            if plan.last_day >= self.today
        ]
        faults = faults_of(plans=plans, now=self.now)
        rows = [(plan, fault) for plan in plans for fault in faults[plan.pk] if fault.code != IN_NO_ROUND]
        ids = [int(fault.visit) for _, fault in rows if fault.visit]
        visits = Visit.objects.filter(pk__in=ids).select_related("site__client").in_bulk()
        for plan, fault in rows:
            visit = visits.get(int(fault.visit or 0))
            yield Reason(
                tells=fault.sentence,
                settle=fault.settle,
                at=visit.site if visit is not None else None,
                visit=visit.pk if visit is not None else None,
                day=plan.first_day + timedelta(days=fault.day) if fault.day is not None else None,
            )

    # parts of a reason

    def _at_unit(self, unit: int, tells: str | Callable[[], str], settle: Settle, **more: Any) -> Reason:
        return Reason(tells, settle, unit_id=unit, units=self.units, **more)

    def _at_visit(self, visit: Visit, sentence: str, settle: Settle) -> Reason:
        # a best day that has gone by says that it is due
        best_day = max(visit.best_day, self.today)
        day = self.company.day_at(visit.appointment_at) if visit.appointment_at is not None else best_day
        return Reason(sentence, settle, at=visit.site, visit=visit.pk, day=day)

    def _settle(self, visit: _VisitOfNeed | None, finding: int | None, state: str | None) -> Settle:
        """What is done about a matter that a visit may hold, and of which a finding in some state may speak."""
        if visit is None and finding is not None and state == Finding.State.OPEN:
            return Settle(words.confirm_finding(), "POST", f"/api/v1/findings/{finding}/confirm/")
        if visit is None:
            return Settle(words.propose_visits(), "POST", "/api/v1/visits/propose/")
        if visit.state == Visit.State.OFFERED:
            return Settle(words.note_time(), "POST", f"/api/v1/visits/{visit.pk}/accept/")
        plan, _ = self._stop_of_visit.get(visit.pk, (None, None))
        if plan is not None:
            return Settle(words.offer_plan(), "POST", f"/api/v1/plans/{plan}/offer/")
        return Settle(words.plan_rounds(), "POST", "/api/v1/plans/")
