"""What an invoice would say: of one report of work, or of all that a client had done in a month.

A proposal is worked out anew each time, from reports, prices and contracts; the same of these give the same proposal,
to its version. What stands on an invoice in force is left out.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Q

from accounts.models import Client, Company
from fleet.models import CatalogueItem, Site, Unit
from scheduling.models import InvoicedWork, InvoiceLine, SalesPrice, ServiceContract, ServiceRecord, Vat
from scheduling.planning.money.amounts import shared_whole
from scheduling.planning.money.document import Totals, hours, net_of, total_of
from scheduling.planning.money.periods import MONTHS, month_after, periods_beginning, plus_months
from scheduling.planning.policy import Policy
from scheduling.services.money.covers import Covers
from scheduling.services.money.price_list import UNTAXED, Price, PriceList
from scheduling.services.money.work import Owners, minutes_by_unit, pieces_by_unit, units_of_positions
from scheduling.services.policy import read_policy
from scheduling.services.words import money as words

_FREE = Decimal("0.00")
_ONE = Decimal("1.0000")
_Kind, _Measure = InvoiceLine.Kind, InvoiceLine.Measure


@dataclass(frozen=True, slots=True)
class ProposedLine:
    """One line: what, how much of it, for how much, and why it is free where it is."""

    kind: str
    day: date
    label: str
    quantity: Decimal
    measure: str
    price: Decimal
    vat: str
    vat_percent: Decimal
    site_name: str = ""
    unit_code: str = ""
    free_because: str = ""

    @property
    def net(self) -> Decimal:
        """Quantity times price, to two decimals."""
        return net_of(self.quantity, self.price)


@dataclass(frozen=True, slots=True)
class Proposal:
    """An invoice that could be issued.

    Attributes
    ----------
    client
        Who had the site when the work was done.
    bill_to_name, bill_to_address
        Whom it would be made out to: the client, at the first of the sites on it.
    first_day, last_day
        Of what it is for.
    lines
        In the order of the work; then flat prices.
    records, periods
        Ids of the reports on it, and the contracts with the first days of their periods.
    missing
        What has to be entered before it can be issued; empty where nothing is missing.
    remarks
        What to know of it; the first says that it is a proposal.
    """

    company: Company
    client: Client
    bill_to_name: str
    bill_to_address: str
    first_day: date
    last_day: date
    lines: tuple[ProposedLine, ...]
    records: tuple[int, ...]
    periods: tuple[tuple[int, date], ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def currency(self) -> str:
        """Of all its amounts."""
        return self.company.currency

    @property
    def totals(self) -> Totals:
        """Sums, and tax by rate."""
        return total_of(self.lines)

    @property
    def version(self) -> str:
        """Mark of all it says; another when anything changes."""
        said = [
            [self.client.pk, self.currency, self.bill_to_name, self.bill_to_address, self.first_day, self.last_day],
            [[getattr(line, name) for name in ProposedLine.__slots__] for line in self.lines],
            [self.records, self.periods, self.missing],
        ]
        return hashlib.sha256(json.dumps(said, default=str).encode()).hexdigest()


def month_of(company: Company, month: date) -> tuple[datetime, datetime]:
    """First moment of a month on the clock of the office, and first of the next."""
    first = month.replace(day=1)
    begins, ends = (datetime.combine(day, time(), tzinfo=company.zone) for day in (first, month_after(first)))
    return begins, ends


def propose_month(*, company: Company, month: date, now: datetime, client: Client | None = None) -> list[Proposal]:
    """Proposals for what was done in a month and for flat prices whose periods begin in it, one for each client.

    Parameters
    ----------
    month
        Any day of it. Of a month that is not over, what was reported so far.
    client
        Whose alone; None: everybody's, by name.
    """
    begins, ends = month_of(company, month)
    records = _uninvoiced(company).filter(done_at__gte=begins, done_at__lt=min(ends, now + timedelta(microseconds=1)))
    maker = _Maker(company, list(records), now)
    maker.add_contracts(month.replace(day=1), min(month_after(month), company.day_at(now) + timedelta(days=1)))
    return maker.proposals(client)


def propose_record(*, service_record: ServiceRecord, now: datetime) -> Proposal | None:
    """The proposal for one report of work, without flat prices; None where it stands on an invoice already."""
    company = service_record.company
    made = _Maker(company, list(_uninvoiced(company).filter(pk=service_record.pk)), now).proposals(None)
    return made[0] if made else None


def _uninvoiced(company: Company) -> Any:
    rows = ServiceRecord.objects.of_company(company).filter(invoiced__isnull=True)
    return rows.select_related("site__client").order_by("done_at", "pk")


@dataclass
class _Draft:
    """What a client's proposal is gathered in."""

    lines: list[ProposedLine] = field(default_factory=list)
    records: list[int] = field(default_factory=list)
    periods: list[tuple[int, date]] = field(default_factory=list)
    first_days: list[date] = field(default_factory=list)
    last_days: list[date] = field(default_factory=list)
    sites: set[int] = field(default_factory=set)
    missing: dict[str, None] = field(default_factory=dict)
    remarks: dict[str, None] = field(default_factory=dict)


class _Maker:
    """Makes proposals of reports, in a number of queries that does not grow with them."""

    def __init__(self, company: Company, records: Sequence[ServiceRecord], now: datetime) -> None:
        self.company, self.records, self.now = company, records, now
        self.prices, self.covers = PriceList(company), Covers(company)
        self.policy: Policy = read_policy(company=company).planning
        self.owners = Owners(company)
        self.unit_of_position = units_of_positions(records)
        items = {part["item"] for record in records for part in record.parts}
        self.items: Mapping[int, CatalogueItem] = CatalogueItem.objects.of_company(company).in_bulk(list(items))
        self.units: Mapping[int, str] = dict(
            Unit.objects.of_company(company)
            .filter(site__in={record.site_id for record in records})
            .values_list("pk", "code")
        )
        self.coming = _first_of_each_coming(company, records)
        self.drafts: dict[int, _Draft] = {}
        for record in records:
            self._add(record)

    def add_contracts(self, first: date, before: date) -> None:
        """Add flat prices whose periods begin from a day until before another, and that were not invoiced yet."""
        invoiced = InvoicedWork.objects.of_company(self.company).filter(contract__isnull=False)
        known = set(invoiced.values_list("contract_id", "period_first_day"))
        for contract in self.covers.contracts:
            for day in periods_beginning(contract.starts_on, contract.ends_on, contract.per, first, before):
                if (contract.pk, day) not in known:
                    self._add_period(contract, day)

    def proposals(self, client: Client | None) -> list[Proposal]:
        """What was gathered, of one client or of all by name; where there is nothing to ask for, none."""
        drafts = {pk: draft for pk, draft in self.drafts.items() if draft.lines or draft.missing}
        wanted = [pk for pk in drafts if client is None or pk == client.pk]
        on_them = {pk for key in wanted for pk in drafts[key].sites}
        rows = Site.objects.of_company(self.company).filter(Q(client__in=wanted) | Q(pk__in=on_them))
        sites = list(rows.order_by("code", "pk"))
        clients = Client.objects.of_company(self.company).filter(pk__in=wanted).order_by("name", "pk")
        return [self._proposal(row, drafts[row.pk], sites) for row in clients]

    def _proposal(self, client: Client, draft: _Draft, sites: Sequence[Site]) -> Proposal:
        on_it = [site for site in sites if site.pk in draft.sites] or [s for s in sites if s.client_id == client.pk]
        address = on_it[0].address if on_it else ""
        return Proposal(
            company=self.company,
            client=client,
            bill_to_name=client.name,
            bill_to_address=address,
            first_day=min(draft.first_days),
            last_day=max(draft.last_days),
            lines=tuple(draft.lines),
            records=tuple(draft.records),
            periods=tuple(draft.periods),
            missing=tuple(draft.missing),
            remarks=(words.is_a_proposal(), *self._unnamed(draft, address), *draft.remarks),
        )

    def _unnamed(self, draft: _Draft, address: str) -> Iterator[str]:
        """Whom an invoice would leave unnamed. Article 226 of the directive on VAT, 2006/112/EC (from memory)."""
        if not self.company.address.strip():
            yield words.no_address_of_seller()
        if not self.company.tax_number.strip() and any(line.vat_percent for line in draft.lines):
            yield words.no_tax_number()
        if not address.strip():
            yield words.no_address_of_client()

    def _add(self, record: ServiceRecord) -> None:
        client = self.owners.of_site(record.site, record.done_at)
        draft = self.drafts.setdefault(client, _Draft())
        day = self.company.day_at(record.done_at)
        shares = minutes_by_unit(record, self.policy, self.unit_of_position)
        lines = [
            *self._coming(record, client, day, list(shares), draft),
            *self._labour(record, client, day, shares, draft),
            *self._parts(record, client, day, list(shares), draft),
        ]
        draft.records.append(record.pk)
        draft.sites.add(record.site_id)
        draft.first_days.append(day)
        draft.last_days.append(day)
        draft.lines += lines

    def _coming(
        self, record: ServiceRecord, client: int, day: date, units: Sequence[int], draft: _Draft
    ) -> Iterable[ProposedLine]:
        if record.pk not in self.coming:
            return
        free = self.covers.travel(client=client, units=units, day=day)
        price = self.prices.of_work(SalesPrice.Kind.CALL_OUT, day)
        if price is None and not free:
            draft.missing[words.no_price_of_work(SalesPrice.Kind.CALL_OUT, day)] = None
            return
        yield self._line(
            draft, price, free, _Kind.CALL_OUT, day, words.call_out(), _ONE, _Measure.VISIT, record.site.name
        )

    def _labour(
        self, record: ServiceRecord, client: int, day: date, shares: Mapping[int, float], draft: _Draft
    ) -> Iterable[ProposedLine]:
        if record.minutes is None:
            draft.remarks[words.no_minutes(day, record.site.name)] = None
            return
        price = self.prices.of_work(SalesPrice.Kind.HOUR, day)
        units: list[int | None] = list(shares) or [None]
        minutes = shared_whole(record.minutes, list(shares.values())) or [record.minutes]
        for unit, count in zip(units, minutes, strict=True):
            if not count:
                continue
            free = self.covers.labour(client=client, unit=unit, day=day)
            if price is None and not free:
                draft.missing[words.no_price_of_work(SalesPrice.Kind.HOUR, day)] = None
                return
            yield self._line(
                draft,
                price,
                free,
                _Kind.LABOUR,
                day,
                words.labour(),
                hours(count),
                _Measure.HOUR,
                record.site.name,
                self.units.get(unit or 0, ""),
            )

    def _parts(
        self, record: ServiceRecord, client: int, day: date, units: Sequence[int], draft: _Draft
    ) -> Iterable[ProposedLine]:
        for unit, pieces in sorted(
            pieces_by_unit(record, self.unit_of_position).items(), key=lambda pair: self.units.get(pair[0] or 0, "~")
        ):
            for key, count in sorted(pieces.items(), key=lambda pair: self.items[pair[0]].code):
                item = self.items[key]
                price = self.prices.of_item(key, day)
                free = self._why_free(client, unit, units, key, day)
                if price is None and not free:
                    draft.missing[words.no_price_of_item(item.code, day)] = None
                    continue
                yield self._line(
                    draft,
                    price,
                    free,
                    _Kind.PART,
                    day,
                    words.part(item.code, item.name),
                    Decimal(count),
                    _Measure.PIECE,
                    record.site.name,
                    self.units.get(unit or 0, ""),
                )

    def _why_free(self, client: int, unit: int | None, units: Sequence[int], item: int, day: date) -> str:
        """Why pieces are free; those of the visit as a whole are so too where they would be at each of its units."""
        free = self.covers.part(client=client, unit=unit, item=item, day=day)
        if free or unit is not None:
            return free
        reasons = [self.covers.part(client=client, unit=each, item=item, day=day) for each in units]
        return reasons[0] if reasons and all(reasons) else ""

    def _line(
        self,
        draft: _Draft,
        price: Price | None,
        free: str,
        kind: str,
        day: date,
        label: str,
        quantity: Decimal,
        measure: str,
        site_name: str = "",
        unit_code: str = "",
    ) -> ProposedLine:
        vat = price.vat if price is not None else Vat.NONE.value
        percent = self.prices.percent(vat, day)
        if percent is None:
            # what is free owes no tax, so nobody has to enter a rate for its sake
            if not free:
                draft.missing[words.no_vat_rate(vat, day)] = None
            vat, percent = Vat.NONE.value, UNTAXED
        charged = _FREE if free or price is None else price.price
        return ProposedLine(
            kind, day, label[:200], quantity, measure, charged, vat, percent, site_name, unit_code, free[:200]
        )

    def _add_period(self, contract: ServiceContract, day: date) -> None:
        draft = self.drafts.setdefault(contract.client_id, _Draft())
        last = plus_months(day, MONTHS[contract.per]) - timedelta(days=1)
        if contract.ends_on is not None:
            last = min(last, contract.ends_on)
        draft.lines.append(
            self._line(
                draft,
                Price(contract.price, contract.vat),
                "",
                _Kind.CONTRACT,
                day,
                words.contract(contract.name, day, last),
                _ONE,
                contract.per,
            )
        )
        draft.periods.append((contract.pk, day))
        draft.first_days.append(day)
        draft.last_days.append(last)


def _first_of_each_coming(company: Company, records: Sequence[ServiceRecord]) -> set[int]:
    """Ids of the reports that bear a call-out: the first of each visit, or of each day at a site without a visit.

    A later report of the same coming bears none, and neither does one whose coming is invoiced already.
    """
    sites = {record.site_id for record in records}
    every = ServiceRecord.objects.of_company(company).filter(site__in=sites)
    first: dict[tuple[Any, ...], int] = {}
    invoiced: set[tuple[Any, ...]] = set()
    for pk, site, visit, done_at, on_invoice in every.order_by("done_at", "pk").values_list(
        "pk", "site_id", "visit_id", "done_at", "invoiced"
    ):
        key = ("visit", visit) if visit is not None else ("day", site, company.day_at(done_at))
        first.setdefault(key, pk)
        if on_invoice is not None:
            invoiced.add(key)
    return {pk for key, pk in first.items() if key not in invoiced}
