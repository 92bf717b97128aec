"""Proposed visits: the open needs of each site, bundled anew as they change; what is confirmed stays."""

import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db import transaction
from django.db.models import Case, When

from accounts.many_rows import update_rows
from accounts.models import Company
from accounts.services.companies import lock_company
from fleet.models import Unit
from scheduling.models import Need, Visit, VisitTask
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.early import cost_of_going_early
from scheduling.planning.visits.proposal import BundlingSite, VisitProposal
from scheduling.services import events_out
from scheduling.services.needs.costs import planning_needs
from scheduling.services.needs.reading import all_but, with_dates
from scheduling.services.people import messages
from scheduling.services.policy import read_policy
from scheduling.services.travel import travel_cost_of_sites
from scheduling.services.visits.additions import ProposedAdditions, declined_needs, propose_additions
from scheduling.services.visits.costs import COST_DAYS, day_costs, tasks_cost
from scheduling.services.visits.locks import holds
from scheduling.services.visits.order import order_of_work
from scheduling.services.words import visits as words

# Nobody offers a time farther ahead: a cancelled visit that is older keeps nobody off.
_LONGEST_DECLINED = timedelta(days=90)
# What a proposal says of its visit.
_PROPOSED = (
    "earliest_day",
    "latest_day",
    "best_day",
    "is_urgent",
    "minutes",
    "skills",
    "costs_first_day",
    "costs",
    "cost_of_leaving",
    "travel_cost",
    "reason",
)


@dataclass(frozen=True, slots=True)
class VisitsProposed:
    """How many visits were proposed anew, changed, withdrawn, and left as they were."""

    opened: int
    changed: int
    withdrawn: int
    unchanged: int


def propose_visits(*, company: Company, now: datetime, sites: Collection[int] | None = None) -> VisitsProposed:
    """Bundle the company's open needs into at most one proposed visit a site.

    Offered visits keep their times; what is settled leaves them and what costs less along joins them. Confirmed visits
    keep their time, their installer and their tasks; needs that cost less along with a confirmed visit
    of their site than on a visit of their own are proposed as additions to it, for the office to accept. Needs on a
    confirmed visit whose day has gone by without a record are proposed again. Proposing twice changes nothing.

    Parameters
    ----------
    sites
        Ids of the sites about which something is new; visits to the others stay as they are. None: all sites. What is
        proposed for a site does not depend on the needs of the others.
    """
    today = company.day_at(now)
    with transaction.atomic():
        # one at a time for a company: two would propose two visits to a site
        lock_company(company.pk)
        return _Proposer(company, read_policy(company=company), today, now, sites).run()


class _Proposer:
    def __init__(
        self, company: Company, policy: ServicePolicy, today: date, now: datetime, sites: Collection[int] | None
    ) -> None:
        self.company, self.policy, self.today, self.now = company, policy, today, now
        self.sites = None if sites is None else list(sites)
        here = {} if sites is None else {"site__in": list(sites)}
        # Held until the end, so that nobody agrees a time with a client meanwhile, and read before the needs, which are
        # closed with their visits. What is proposed comes last: whoever gives a time back holds that visit, and then
        # asks for the proposed one of its site.
        live = (
            Visit.objects.of_company(company)
            .filter(state__in=Visit.LIVE, **here)
            .select_for_update(no_key=True, of=("self",))
            .annotate(is_proposed=Case(When(state=Visit.State.PROPOSED, then=1), default=0))
        )
        visits = list(live.select_related("locked_installer").order_by("is_proposed", "appointment_at", "pk"))
        # A related manager makes a query set each time it is asked, also of what is at hand.
        self.tasks: dict[int, list[VisitTask]] = defaultdict(list)
        for task in VisitTask.objects.filter(visit__in=[visit.pk for visit in visits]):
            self.tasks[task.visit_id].append(task)
        # nobody can be sent to a site that nobody knows
        open_needs = Need.objects.of_company(company).filter(
            Need.TAKES_A_VISIT, state=Need.State.OPEN, site__is_known=True, **here
        )
        # of a unit its code alone is said
        with_units = with_dates(open_needs, "position", "unit").defer(*all_but(Unit, ["code"], "unit"))
        # rows so wide are sorted sooner here than on the database's disk
        self.needs = {need.pk: need for need in sorted(with_units.order_by(), key=lambda need: need.pk)}
        self.opened: list[Visit] = []
        self.rewritten: list[Visit] = []
        self.retasked: list[tuple[Visit, list[tuple[int, str]]]] = []
        self.proposed: dict[int, Visit] = {}
        self.confirmed: dict[int, list[Visit]] = defaultdict(list)
        self.offered: list[Visit] = []
        self.under_way: list[Visit] = []
        self.lapsed: list[Visit] = []
        for visit in visits:
            if visit.state == Visit.State.PROPOSED:
                self.proposed[visit.site_id] = visit
            elif visit.state == Visit.State.OFFERED:
                open_still = any(datetime.fromisoformat(offer["opens_at"]) > now for offer in visit.offers)
                (self.offered if open_still else self.lapsed).append(visit)
            elif visit.state != Visit.State.CONFIRMED:
                # somebody is there or on the way; what was begun on an earlier day and never closed holds nothing
                if company.day_at(visit.updated_at) >= today:
                    self.under_way.append(visit)
            elif self._appointed(visit) >= today:
                self.confirmed[visit.site_id].append(visit)

    def run(self) -> VisitsProposed:
        self._take_lapsed_back()
        known_to_clients = [*(v for visits in self.confirmed.values() for v in visits), *self.offered]
        held = {task.need_id for visit in known_to_clients for task in self._tasks_left(visit)}
        held |= {task.need_id for visit in self.under_way for task in self.tasks[visit.pk]}
        free = [need for pk, need in self.needs.items() if pk not in held]
        readings = self._readings_on_confirmed(free)
        read_then = {need.pk for rows in readings.values() for need, _ in rows}
        # one and the same visit is proposed for a site, the next one; those after it are bundled when it is done
        to_bundle = [need for need in free if need.pk not in read_then]
        proposals = {int(p.site): p for p in self._bundle(to_bundle) if p.number == 0}
        along = self._going_along(to_bundle)
        joined = self._keep_confirmed(proposals, along)
        offered = self._keep_offered({site_id: p for site_id, p in proposals.items() if site_id not in joined}, along)
        additions = joined | {
            site_id: ProposedAdditions(
                self.confirmed[site_id][0], [*rows, *(joined[site_id].needs if site_id in joined else ())]
            )
            for site_id, rows in readings.items()
        }
        extended = propose_additions(
            company=self.company, proposals=list(additions.values()), now=self.now, sites=self.sites
        )

        changed = 0
        placed = {*joined, *offered}
        for site_id, proposal in proposals.items():
            if site_id in placed:
                continue
            visit = self.proposed.get(site_id)
            if visit is None:
                self._open(site_id, proposal)
            elif self._rewrite(visit, self._values(proposal), self._tasks(proposal)):
                changed += 1
        withdrawn = [v for site_id, v in self.proposed.items() if site_id not in proposals or site_id in placed]
        for visit in withdrawn:
            visit.state, visit.closed_at, visit.updated_at = Visit.State.CANCELLED, self.now, self.now
            visit.closing_note = words.nothing_due()
            if visit.site_id in joined:
                visit.closing_note = words.tasks_proposed_elsewhere()
            elif visit.site_id in offered:
                visit.closing_note = words.tasks_on_offer()
            visit.revision += 1
        Visit.objects.bulk_create(self.opened)
        update_rows(self.rewritten, [*_PROPOSED, "revision", "updated_at"])
        update_rows(withdrawn, ["state", "closed_at", "updated_at", "closing_note", "revision"])
        given_up = [visit for visit in [*self.lapsed, *self.offered] if visit.state == Visit.State.CANCELLED]
        events_out.off([*given_up, *withdrawn], self.now)
        VisitTask.objects.filter(visit__in=[visit.pk for visit, _ in self.retasked]).delete()
        VisitTask.objects.bulk_create(
            VisitTask(visit=visit, need_id=need_id, order=order, reason=reason)
            for visit, tasks in self.retasked
            for order, (need_id, reason) in enumerate(tasks, start=1)
        )
        unchanged = len(self.proposed) - changed - len(withdrawn)
        return VisitsProposed(len(self.opened), changed + extended, len(withdrawn), unchanged)

    def _take_lapsed_back(self) -> None:
        """An offer that nobody took up in time is a proposal again, or gives way to the one its site has."""
        for visit in self.lapsed:
            visit.offers, visit.updated_at = [], self.now
            visit.revision += 1
            if visit.site_id in self.proposed:
                visit.state, visit.closed_at = Visit.State.CANCELLED, self.now
                visit.closing_note = words.offer_expired()
            else:
                visit.state = Visit.State.PROPOSED
                self.proposed[visit.site_id] = visit
            visit.save()
            messages.offer_lapsed(visit, self.now)

    def _bundle(self, needs: Sequence[Need]) -> list[VisitProposal]:
        # what driving costs is known, so that no neighbours are asked for
        sites = sorted({need.site_id for need in needs})
        travel_costs = travel_cost_of_sites(company=self.company, policy=self.policy)
        return bundle_visits(
            planning_needs(needs, keys=[str(need.pk) for need in needs], today=self.today),
            [BundlingSite(str(site), None) for site in sites],
            policy=self.policy.planning,
            cost_days=COST_DAYS,
            travel_costs=[travel_costs[site] for site in sites],
        )

    def _values(self, proposal: VisitProposal) -> dict[str, Any]:
        needs = [self.needs[int(key)] for key in dict.fromkeys(proposal.needs)]
        return {
            "earliest_day": self.today + timedelta(days=proposal.earliest_day),
            "latest_day": self.today + timedelta(days=proposal.latest_day),
            "best_day": self.today + timedelta(days=proposal.best_day),
            "is_urgent": any(need.is_urgent for need in needs) or proposal.urgent,
            "minutes": math.ceil(proposal.minutes),
            "skills": sorted(proposal.skills),
            "costs_first_day": self.today,
            "costs": [round(cost, 2) if math.isfinite(cost) else None for cost in proposal.cost_by_day],
            "cost_of_leaving": round(proposal.cost_if_unserved, 2),
            "travel_cost": round(proposal.travel_cost, 2),
            "reason": proposal.sentence,
        }

    def _tasks(self, proposal: VisitProposal) -> list[tuple[int, str]]:
        """Needs of a proposal with their reasons, in order of work."""
        reasons = {int(choice.need): choice.sentence for choice in proposal.choices}
        needs = sorted((self.needs[pk] for pk in reasons), key=order_of_work)
        return [(need.pk, reasons[need.pk]) for need in needs]

    def _open(self, site_id: int, proposal: VisitProposal) -> None:
        visit = Visit(
            company=self.company,
            site_id=site_id,
            created_at=self.now,
            updated_at=self.now,
            declined=self._declined_at(site_id),
            **self._values(proposal),
        )
        self.opened.append(visit)
        self.retasked.append((visit, self._tasks(proposal)))

    def _declined_at(self, site_id: int) -> list[dict[str, str]]:
        """What the client of a site declined of a visit that was cancelled since, and has not gone by."""
        moment = self.now.astimezone(UTC).isoformat()
        windows = [w for row in self._cancelled.get(site_id, ()) for w in row if w["closes_at"] > moment]
        return [window for number, window in enumerate(windows) if window not in windows[:number]]

    @cached_property
    def _cancelled(self) -> Mapping[int, list[list[dict[str, str]]]]:
        """Site to what was declined of each of its cancelled visits."""
        table: dict[int, list[list[dict[str, str]]]] = defaultdict(list)
        rows = Visit.objects.of_company(self.company).filter(state=Visit.State.CANCELLED).exclude(declined=[])
        rows = rows.filter(closed_at__gt=self.now - _LONGEST_DECLINED)
        for site_id, declined in rows.order_by("pk").values_list("site_id", "declined"):
            table[site_id].append(declined)
        return table

    def _rewrite(self, visit: Visit, values: Mapping[str, Any], tasks: list[tuple[int, str]]) -> bool:
        """Bring a visit up to date; answer whether anything differed."""
        differing = [name for name, value in values.items() if getattr(visit, name) != value]
        same_tasks = [(task.need_id, task.reason) for task in self.tasks[visit.pk]] == tasks
        if not differing and same_tasks:
            return False
        for name in differing:
            setattr(visit, name, values[name])
        visit.updated_at = self.now
        self.rewritten.append(visit)
        if not same_tasks:
            self.retasked.append((visit, tasks))
        return True

    def _going_along(self, needs: Sequence[Need]) -> Mapping[int, Collection[int]]:
        """Site to the needs that its next visit takes, bundled with what a confirmed or offered visit there holds.

        What has months to go saves no trip of its own by going along today: another visit comes anyway before it is
        due. A site without such work on a visit is left out.
        """
        nearest = {visit.site_id: visit for visit in reversed(self.offered)}
        nearest |= {site_id: visits[0] for site_id, visits in self.confirmed.items()}
        with_news = {need.site_id for need in needs}
        held = {
            site_id: [self.needs[task.need_id] for task in self._tasks_left(visit)]
            for site_id, visit in nearest.items()
            if site_id in with_news
        }
        together = [need for need in needs if held.get(need.site_id)]
        if not together:
            return {}
        bundled = self._bundle([*together, *(need for needs_held in held.values() for need in needs_held)])
        return {int(p.site): {int(key) for key in p.needs} for p in bundled if p.number == 0}

    def _joining(
        self, site_id: int, proposal: VisitProposal | None, along: Mapping[int, Collection[int]], day: int
    ) -> list[tuple[int, str]]:
        """What of a proposal, with its reasons, is done on a visit that is made on a day anyway."""
        if proposal is None or (site_id in self.proposed and holds(self.proposed[site_id], self.now)):
            return []
        tasks = self._tasks(proposal)
        if site_id in along:
            tasks = [(need_id, reason) for need_id, reason in tasks if need_id in along[site_id]]
        needs = [self.needs[need_id] for need_id, _ in tasks]
        return tasks if needs and self._is_cheaper_along(needs, proposal, day) else []

    def _keep_confirmed(
        self, proposals: Mapping[int, VisitProposal], along: Mapping[int, Collection[int]]
    ) -> dict[int, ProposedAdditions]:
        """Take closed tasks off confirmed visits; answer, by site, what would be added to its next confirmed one."""
        joined = {}
        declined = declined_needs(company=self.company)
        for site_id, visits in self.confirmed.items():
            proposal = proposals.get(site_id)
            for number, visit in enumerate(visits):
                tasks = [(t.need_id, t.reason) for t in self._tasks_left(visit)]
                day = (self._appointed(visit) - self.today).days
                joining = self._joining(site_id, proposal, along, day) if number == 0 else []
                if joining:
                    additions = [(self.needs[pk], reason) for pk, reason in joining]
                    # what was declined is proposed on a visit of its own, with all that is bundled with it
                    if not declined.get(visit.pk, set()).intersection(need.pk for need, _ in additions):
                        joined[site_id] = ProposedAdditions(visit, additions)
                if [t.need_id for t in self.tasks[visit.pk]] != [need_id for need_id, _ in tasks]:
                    self._retask(visit, tasks)
        return joined

    def _keep_offered(self, proposals: Mapping[int, VisitProposal], along: Mapping[int, Collection[int]]) -> set[int]:
        """Bring visits whose clients have not answered up to date; answer the sites whose proposal they took over.

        What is settled otherwise leaves them and what costs less along with them joins them, as their client has agreed
        to nothing yet. Nobody is to choose a time for a visit on which nothing is to be done.
        """
        taken = set()
        for visit in self.offered:
            site_id = visit.site_id
            left = [(task.need_id, task.reason) for task in self._tasks_left(visit)]
            proposal = proposals.get(site_id) if site_id not in taken else None
            joining = self._joining(site_id, proposal, along if left else {}, self._first_offered(visit))
            if joining and proposal is not None:
                taken.add(site_id)
                if left:
                    self._retask(visit, [*left, *joining], **self._costs_with(visit, proposal))
                else:
                    visit.revision += 1
                    self._rewrite(visit, self._values(proposal), joining)
            elif not left:
                self._take_offer_back(visit, is_due=site_id in proposals)
            elif [need_id for need_id, _ in left] != [task.need_id for task in self.tasks[visit.pk]]:
                self._retask(visit, left)
        return taken

    def _first_offered(self, visit: Visit) -> int:
        """Days from today to the first window that can still be chosen."""
        opens = [datetime.fromisoformat(offer["opens_at"]) for offer in visit.offers]
        return (self.company.day_at(min(at for at in opens if at > self.now)) - self.today).days

    def _costs_with(self, visit: Visit, proposal: VisitProposal) -> dict[str, Any]:
        """What the days cost with the tasks of a proposal on top; of the two ways there, one is saved."""
        own, own_unserved = day_costs(visit, first_day=self.today, days=COST_DAYS)
        other = [cost if math.isfinite(cost) else None for cost in proposal.cost_by_day]
        price = self.policy.planning.visit_price(0.0)
        both = [None if a is None or b is None else round(a + b - price, 2) for a, b in zip(own, other, strict=True)]
        unserved = own_unserved + proposal.cost_if_unserved - self.policy.planning.visit_price(proposal.travel_cost)
        return {"costs_first_day": self.today, "costs": both, "cost_of_leaving": round(unserved, 2)}

    def _take_offer_back(self, visit: Visit, *, is_due: bool) -> None:
        """Nothing is left to be done on it: the proposal of its site, or cancelled where there is another or none."""
        visit.updated_at = self.now
        visit.revision += 1
        if is_due and visit.site_id not in self.proposed:
            visit.state, visit.offers, visit.installer = Visit.State.PROPOSED, [], None
            visit.save()
            self.proposed[visit.site_id] = visit
            messages.withdrawn(visit, None, self.now)
            return
        visit.state, visit.closed_at = Visit.State.CANCELLED, self.now
        visit.closing_note = words.tasks_handed_over() if is_due else words.nothing_due()
        visit.save()
        messages.cancelled(visit, Visit.State.OFFERED, self.now)

    def _readings_on_confirmed(self, free: Sequence[Need]) -> dict[int, list[tuple[Need, str]]]:
        """Readings that wait for whoever comes next, with their reasons, by site of which a visit is confirmed."""
        readings: dict[int, list[tuple[Need, str]]] = defaultdict(list)
        declined = declined_needs(company=self.company)
        for need in free:
            visits = self.confirmed.get(need.site_id)
            if not visits or need.reading_way != Need.ReadingWay.NEXT_VISIT:
                continue
            if need.pk not in declined.get(visits[0].pk, set()):
                readings[need.site_id].append((need, need.reason))
        return readings

    def _tasks_left(self, visit: Visit) -> list[VisitTask]:
        """Tasks of a visit that are still to be done, and at its site."""
        return [
            task
            for task in self.tasks[visit.pk]
            if task.need_id in self.needs and self.needs[task.need_id].site_id == visit.site_id
        ]

    def _appointed(self, visit: Visit) -> date:
        """The company's day of a confirmed visit, which always has a time."""
        assert visit.appointment_at is not None
        return self.company.day_at(visit.appointment_at)

    def _is_cheaper_along(self, needs: Sequence[Need], proposal: VisitProposal, day: int) -> bool:
        """Whether doing needs of a proposal on a day costs less than a visit of their own on the proposal's best."""
        planning = self.policy.planning
        if day >= planning.horizon_days and any(need.is_urgent for need in needs):
            return False
        along = tasks_cost(needs, today=self.today, day=day)
        alone = tasks_cost(needs, today=self.today, day=proposal.best_day)
        if along is None or alone is None:
            return along is not None
        own_visit = planning.visit_price(proposal.travel_cost)
        used_days = [
            need.used_days for need in planning_needs(needs, keys=[need.key for need in needs], today=self.today)
        ]
        early = cost_of_going_early(
            day,
            best_day=proposal.best_day,
            best_cost=alone / len(needs),
            visit_price=own_visit / len(needs),
            fitted_day=[-days for days in used_days],
        )
        return bool(along + early.sum() <= alone + own_visit)

    def _retask(self, visit: Visit, tasks: Sequence[tuple[int, str]], **values: Any) -> None:
        needs = [self.needs[need_id] for need_id, _ in tasks]
        minutes = self.policy.planning.removal_minutes + sum(need.minutes for need in needs)
        # the appointment ends at another time, which calendars take over by the revision
        visit.revision += 1
        reasons = dict(tasks)
        ordered = [(need.pk, reasons[need.pk]) for need in sorted(needs, key=order_of_work)]
        self._rewrite(
            visit,
            {
                "minutes": math.ceil(minutes),
                "skills": sorted({skill for need in needs for skill in need.skills}),
                "is_urgent": any(need.is_urgent for need in needs),
                **values,
            },
            ordered,
        )
