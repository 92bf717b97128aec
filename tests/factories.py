"""Rows for tests, one factory for each model; every value is invented.

A row takes the company of what it belongs to, so nothing straddles two companies by accident: `UnitFactory(site=site)`
stands in the site's company, `UnitFactory(company=company)` makes a site and a client there, and
`UnitFactory(site__client=client)` makes the site for that client.
"""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import factory
from factory.django import DjangoModelFactory

from accounts import models as accounts
from accounts.jobs.models import Job, JobChunk, StepTime
from accounts.webhooks.models import WebhookDelivery, WebhookEndpoint
from fleet import models as fleet
from scheduling import models as scheduling
from scheduling.services.stock.ledger import opening_of

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
TODAY = NOW.date()
PASSWORD = "river-otter-kettle-57"


class TenantFactory(DjangoModelFactory):
    """A row with a company: its own when told so, else that of whatever it is told to belong to, else a new one."""

    class Meta:
        abstract = True

    company = factory.SubFactory("tests.factories.CompanyFactory")

    @classmethod
    def _generate(cls, strategy, params):
        if "company" not in params:
            owners = [value.company for value in params.values() if hasattr(value, "company_id")]
            if owners:
                params = {**params, "company": owners[0]}
        # What is said of a unit holds for its site.
        declared = cls._meta.pre_declarations
        if isinstance(params.get("unit"), fleet.Unit) and "site" in declared and "site" not in params:
            params = {**params, "site": params["unit"].site}
        return super()._generate(strategy, params)


def same_company(factory_class, **kwargs):
    """Make what a row belongs to in the row's own company."""
    return factory.SubFactory(factory_class, company=factory.SelfAttribute("..company"), **kwargs)


# accounts


class UserFactory(DjangoModelFactory):
    class Meta:
        model = accounts.User

    email = factory.Sequence(lambda n: f"person{n}@people.example")
    username = factory.SelfAttribute("email")
    password = factory.django.Password(PASSWORD)


class CompanyFactory(DjangoModelFactory):
    class Meta:
        model = accounts.Company

    name = factory.Sequence(lambda n: f"Company {n}")
    time_zone = "UTC"


class ClientFactory(TenantFactory):
    class Meta:
        model = accounts.Client

    name = factory.Sequence(lambda n: f"Client {n}")


class MembershipFactory(TenantFactory):
    class Meta:
        model = accounts.Membership

    user = factory.SubFactory(UserFactory)
    role = "owner"


class InvitationFactory(TenantFactory):
    class Meta:
        model = accounts.Invitation

    email = factory.Sequence(lambda n: f"invited{n}@people.example")
    role = "office"
    invited_by = same_company(MembershipFactory)
    created_at = NOW
    expires_at = NOW + timedelta(days=3650)


class LetterFactory(DjangoModelFactory):
    class Meta:
        model = accounts.Letter

    kind = "invitation"
    email = factory.Sequence(lambda n: f"reader{n}@people.example")
    written_at = NOW
    next_attempt_at = NOW


class WebhookEndpointFactory(TenantFactory):
    class Meta:
        model = WebhookEndpoint

    name = factory.Sequence(lambda n: f"receiver {n}")
    url = factory.Sequence(lambda n: f"https://receiver{n}.example/hooks")
    events = ["finding.opened"]
    salt = factory.Sequence(lambda n: f"salt {n}")
    created_at = NOW


class WebhookDeliveryFactory(DjangoModelFactory):
    class Meta:
        model = WebhookDelivery

    endpoint = factory.SubFactory(WebhookEndpointFactory)
    event = "finding.opened"
    message_id = factory.Sequence(lambda n: f"msg_{n}")
    subject = factory.Sequence(lambda n: f"finding {n}")
    says = "opened"
    body = factory.LazyFunction(lambda: {"type": "finding.opened", "timestamp": "2026-03-02T09:00:00Z", "data": {}})
    state = "failed"
    happened_at = NOW


class AccessTokenFactory(DjangoModelFactory):
    """A token nobody can use: its secret was never known."""

    class Meta:
        model = accounts.AccessToken

    membership = factory.SubFactory(MembershipFactory)
    user = factory.SelfAttribute("membership.user")
    digest = factory.Sequence(lambda n: f"{n:0128x}")
    token_key = factory.Sequence(lambda n: f"{n:015x}")
    name = "a token"
    expiry = NOW + timedelta(days=3650)


class BrowserSessionFactory(DjangoModelFactory):
    class Meta:
        model = accounts.BrowserSession

    membership = factory.SubFactory(MembershipFactory)
    session_key = factory.Sequence(lambda n: f"{n:032x}")
    device = "a browser"
    signed_in_at = NOW
    last_used_at = NOW


class TryCountFactory(DjangoModelFactory):
    class Meta:
        model = accounts.TryCount

    key = factory.Sequence(lambda n: f"{n:064x}")
    last_at = NOW


class SecondFactorFactory(DjangoModelFactory):
    class Meta:
        model = accounts.SecondFactor

    user = factory.SubFactory(UserFactory)
    key = factory.Sequence(lambda n: f"{n:040x}")
    begun_at = NOW
    confirmed_at = NOW


class RecoveryCodeFactory(DjangoModelFactory):
    class Meta:
        model = accounts.RecoveryCode

    factor = factory.SubFactory(SecondFactorFactory)
    digest = factory.Sequence(lambda n: f"{n:064x}")


class RequestCountFactory(DjangoModelFactory):
    class Meta:
        model = accounts.RequestCount

    key = factory.Sequence(lambda n: f"{n:064x}")
    window = 29_000_000
    counted_at = NOW


class SentWithoutKeyFactory(DjangoModelFactory):
    class Meta:
        model = accounts.SentWithoutKey

    key = factory.Sequence(lambda n: f"{n:064x}")
    first_at = NOW


class KnownPlaceFactory(DjangoModelFactory):
    class Meta:
        model = accounts.KnownPlace

    key = factory.Sequence(lambda n: f"{n:064x}")
    last_at = NOW


class AuditEntryFactory(TenantFactory):
    class Meta:
        model = accounts.AuditEntry

    at = NOW
    action = "update client"
    subject_kind = "client"
    subject_id = "1"


class StoredAnswerFactory(DjangoModelFactory):
    class Meta:
        model = accounts.StoredAnswer

    membership = factory.SubFactory(MembershipFactory)
    company = factory.SelfAttribute("membership.company")
    key = factory.Sequence(lambda n: f"key-{n}")
    route = "/api/v1/clients/"
    body_digest = "0" * 64
    created_at = NOW


# fleet: where things stand


class SiteFactory(TenantFactory):
    class Meta:
        model = fleet.Site

    client = same_company(ClientFactory)
    code = factory.Sequence(lambda n: f"S{n:04d}")
    name = factory.Sequence(lambda n: f"Site {n}")
    latitude = 52.0
    longitude = 13.0
    time_zone = "Europe/Berlin"


class AccessExceptionFactory(DjangoModelFactory):
    class Meta:
        model = fleet.AccessException

    site = factory.SubFactory(SiteFactory)
    first_day = TODAY
    last_day = TODAY


class AccessWindowFactory(DjangoModelFactory):
    class Meta:
        model = fleet.AccessWindow

    site = factory.SubFactory(SiteFactory)
    weekday = 0
    opens = time(8)
    closes = time(12)


class UnitFactory(TenantFactory):
    class Meta:
        model = fleet.Unit

    site = same_company(SiteFactory)
    code = factory.Sequence(lambda n: f"U{n:04d}")
    use = "reef"
    kind = "ro_di"
    product_tds_target_mg_per_l = 2.0
    weekly_demand_l = 140.0
    commissioned_on = date(2025, 1, 6)


class PastOwnershipFactory(TenantFactory):
    class Meta:
        model = fleet.PastOwnership

    client = same_company(ClientFactory)
    unit = same_company(UnitFactory)
    until = NOW


class PositionFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Position

    unit = factory.SubFactory(UnitFactory)
    order = factory.LazyAttribute(lambda row: row.unit.positions.count() + 1)
    stage = "sediment"
    role = "single"


class InstrumentFactory(TenantFactory):
    class Meta:
        model = fleet.Instrument

    name = factory.Sequence(lambda n: f"Meter {n}")
    measures = factory.LazyFunction(lambda: ["permeate_tds_mg_per_l"])


# fleet: what stands there


class SupplierFactory(TenantFactory):
    class Meta:
        model = fleet.Supplier

    name = factory.Sequence(lambda n: f"Supplier {n}")


class CatalogueItemFactory(TenantFactory):
    """A sediment cartridge; `kind` picks the attributes the engineering needs of the others."""

    class Meta:
        model = fleet.CatalogueItem

    class Params:
        is_membrane = factory.LazyAttribute(lambda row: row.kind == "membrane")
        is_resin = factory.LazyAttribute(lambda row: row.kind == "resin")
        is_carbon = factory.LazyAttribute(lambda row: row.kind == "carbon")

    code = factory.Sequence(lambda n: f"C{n:04d}")
    name = factory.Sequence(lambda n: f"Cartridge {n}")
    kind = "sediment"
    purpose = ""
    price = Decimal("12.50")
    pack_size = 4
    lead_time_days = 7
    micron_rating_um = factory.LazyAttribute(lambda row: 5.0 if row.kind == "sediment" else None)
    rated_volume_l = factory.LazyAttribute(lambda row: 15000.0 if row.kind in ("sediment", "carbon") else None)
    carbon_kind = factory.LazyAttribute(lambda row: "block" if row.is_carbon else "")
    carbon_volume_l = factory.LazyAttribute(lambda row: 0.5 if row.is_carbon else None)
    chlorine_capacity_g = factory.LazyAttribute(lambda row: 20.0 if row.is_carbon else None)
    membrane_material = factory.LazyAttribute(lambda row: "polyamide" if row.is_membrane else "")
    rejection_fraction = factory.LazyAttribute(lambda row: 0.97 if row.is_membrane else None)
    rated_flow_l_per_day = factory.LazyAttribute(lambda row: 284.0 if row.is_membrane else None)
    rated_pressure_kpa = factory.LazyAttribute(lambda row: 414.0 if row.is_membrane else None)
    rated_temperature_degc = factory.LazyAttribute(lambda row: 25.0 if row.is_membrane else None)
    rated_tds_mg_per_l = factory.LazyAttribute(lambda row: 250.0 if row.is_membrane else None)
    rated_recovery_fraction = factory.LazyAttribute(lambda row: 0.15 if row.is_membrane else None)
    resin_volume_l = factory.LazyAttribute(lambda row: 0.6 if row.is_resin else None)
    resin_capacity_eq_per_l = factory.LazyAttribute(lambda row: 0.55 if row.is_resin else None)


class PartsRuleFactory(TenantFactory):
    class Meta:
        model = fleet.PartsRule

    item = same_company(CatalogueItemFactory, kind="small_part")
    per = "position"
    quantity = 2


class PlacementFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Placement

    position = factory.SubFactory(PositionFactory)
    item = factory.SubFactory(
        CatalogueItemFactory,
        company=factory.SelfAttribute("..position.unit.company"),
        kind=factory.SelfAttribute("..position.stage"),
    )
    placed_at = NOW - timedelta(days=180)
    first_installed_at = factory.SelfAttribute("placed_at")


# fleet: what was measured, and what it means


class FeedWaterSampleFactory(DjangoModelFactory):
    class Meta:
        model = fleet.FeedWaterSample

    site = factory.SubFactory(SiteFactory)
    taken_at = NOW - timedelta(days=30)
    received_at = NOW - timedelta(days=29)
    ph = 7.6
    alkalinity_mg_per_l_as_caco3 = 180.0
    hardness_mg_per_l_as_caco3 = 210.0
    tds_mg_per_l = 240.0


class ReadingFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Reading

    unit = factory.SubFactory(UnitFactory)
    taken_at = NOW - timedelta(days=1)
    received_at = NOW - timedelta(hours=20)
    source = "installer"
    inlet_pressure_kpa = 400.0
    feed_tds_mg_per_l = 240.0
    permeate_tds_mg_per_l = 9.0


class ReadingIndicatorsFactory(DjangoModelFactory):
    class Meta:
        model = fleet.ReadingIndicators

    reading = factory.SubFactory(ReadingFactory)
    values = factory.LazyFunction(lambda: {"rejection_fraction": 0.9625})
    reasons = factory.LazyFunction(lambda: {"recovery_fraction": "the concentrate flow was not read"})
    uncertainties = factory.LazyFunction(lambda: {"rejection_fraction": 0.002})
    computed_at = NOW


class IntakeBatchFactory(TenantFactory):
    class Meta:
        model = fleet.IntakeBatch

    kind = "readings"
    name = "log.csv"
    digest = factory.Sequence(lambda n: f"{n:064x}")
    received_at = NOW
    rows = 1
    refused = 1


class UploadPieceFactory(DjangoModelFactory):
    class Meta:
        model = fleet.UploadPiece

    batch = factory.SubFactory(IntakeBatchFactory)
    index = factory.Sequence(int)
    content = b"unit,taken at,inlet pressure [psi]\n"


class RefusedRowFactory(DjangoModelFactory):
    class Meta:
        model = fleet.RefusedRow

    batch = factory.SubFactory(IntakeBatchFactory)
    line = 2
    row = factory.LazyFunction(lambda: {"unit": "?"})
    faults = factory.LazyFunction(
        lambda: [{"field": "unit", "code": "unknown_unit", "sentence": "There is no unit with the code '?'."}]
    )


class FindingFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Finding

    unit = factory.SubFactory(UnitFactory)
    rule = "D1"
    cause = factory.Sequence(lambda n: f"cause_{n}")
    confidence = 0.8
    opened_at = NOW - timedelta(days=2)
    last_seen_at = NOW
    installer_sentence = "Measure the inlet pressure."
    client_sentence = "We will look at your unit."


class ForecastFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Forecast

    position = factory.SubFactory(PositionFactory)
    as_of = TODAY
    computed_at = NOW
    state = "installed"
    p10 = TODAY + timedelta(days=20)
    p50 = TODAY + timedelta(days=40)
    p90 = TODAY + timedelta(days=70)
    remaining_share = 0.4
    driver = "capacity"


class FleetLessonFactory(TenantFactory):
    class Meta:
        model = fleet.FleetLesson

    as_of = TODAY
    computed_at = NOW
    unit_count = 5
    fleet_units = 5
    learned = factory.LazyFunction(lambda: {"means": {}, "hypers": {}})


class UnitReviewFactory(DjangoModelFactory):
    class Meta:
        model = fleet.UnitReview

    unit = factory.SubFactory(UnitFactory)
    indicators_of = "seen"
    findings_of = "seen"
    findings_left = "left"
    findings_again_at = NOW + timedelta(days=7)


class ExhaustionLimitsFactory(TenantFactory):
    class Meta:
        model = fleet.ExhaustionLimits
        # A company has one row for each use, however often one is asked for.
        django_get_or_create = ("company", "use")

    use = factory.Iterator(["", *fleet.Unit.Use.values])
    carbon_maximum_service_time_days = 180.0


class ForecastScoreFactory(TenantFactory):
    class Meta:
        model = fleet.ForecastScore

    computed_at = NOW
    first_cut = TODAY - timedelta(days=400)
    last_cut = TODAY - timedelta(days=100)
    known_until = TODAY
    grouping = "kind"
    group = factory.Sequence(lambda n: f"kind {n}")
    method = "learned"
    forecasts = 40
    observed = 25
    pinball_share = 0.08


class JobFactory(TenantFactory):
    class Meta:
        model = Job

    kind = "forecast"
    created_at = NOW


class StepTimeFactory(TenantFactory):
    class Meta:
        model = StepTime

    kind = "nightly"
    step = "findings"
    seconds = 1.0
    ended_at = NOW


class JobChunkFactory(DjangoModelFactory):
    class Meta:
        model = JobChunk

    job = factory.SubFactory(JobFactory)
    index = factory.LazyAttribute(lambda row: row.job.chunks.count())
    payload = factory.LazyFunction(lambda: {"unit_ids": [1]})


# scheduling


class InstallerFactory(TenantFactory):
    class Meta:
        model = scheduling.Installer

    membership = same_company(MembershipFactory, role="installer")
    name = factory.Sequence(lambda n: f"Installer {n}")
    van = "Van 1"
    home_latitude = 52.1
    home_longitude = 13.1
    time_zone = "Europe/Berlin"


class CalendarFeedFactory(TenantFactory):
    class Meta:
        model = scheduling.CalendarFeed

    membership = same_company(MembershipFactory, role="owner")
    client = same_company(ClientFactory)
    digest = factory.Sequence(lambda n: f"{n:064x}")
    created_at = NOW


class AbsenceFactory(TenantFactory):
    class Meta:
        model = scheduling.Absence

    installer = same_company(InstallerFactory)
    first_day = TODAY + timedelta(days=1)
    last_day = TODAY + timedelta(days=2)
    created_at = NOW


class SitePairFactory(TenantFactory):
    class Meta:
        model = scheduling.SitePair

    first_site = same_company(SiteFactory)
    second_site = same_company(SiteFactory)
    rule = "apart"


class RoadCalibrationFactory(TenantFactory):
    class Meta:
        model = scheduling.RoadCalibration

    trips = 12
    sentence = "The model was kept as it is: 12 usable trips are too few; 60 are needed."
    calibrated_at = NOW


class CompanyPolicyFactory(TenantFactory):
    class Meta:
        model = scheduling.CompanyPolicy


class NeedFactory(TenantFactory):
    class Meta:
        model = scheduling.Need

    site = same_company(SiteFactory)
    unit = same_company(UnitFactory, site=factory.SelfAttribute("..site"))
    kind = "inspect"
    key = factory.Sequence(lambda n: f"inspect:{n}")
    minutes = 30
    best_day = TODAY + timedelta(days=7)
    curve_first_day = TODAY
    cost_curve = factory.LazyFunction(lambda: [10.0, 9.0, 8.0])
    created_at = NOW
    updated_at = NOW


class WorkReviewFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.WorkReview

    unit = factory.SubFactory(UnitFactory)
    made_of = "seen"
    left = "left"
    reviewed_on = TODAY
    again_at = NOW + timedelta(days=7)


class VisitFactory(TenantFactory):
    class Meta:
        model = scheduling.Visit

    site = same_company(SiteFactory)
    earliest_day = TODAY
    latest_day = TODAY + timedelta(days=14)
    best_day = TODAY + timedelta(days=7)
    minutes = 45
    costs_first_day = TODAY
    costs = factory.LazyFunction(lambda: [10.0, 9.0, 8.0])
    created_at = NOW
    updated_at = NOW


class VisitTaskFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.VisitTask

    visit = factory.SubFactory(VisitFactory)
    need = factory.SubFactory(
        NeedFactory,
        company=factory.SelfAttribute("..visit.company"),
        site=factory.SelfAttribute("..visit.site"),
    )
    order = factory.LazyAttribute(lambda row: row.visit.tasks.count() + 1)


class VisitAdditionFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.VisitAddition

    visit = factory.SubFactory(VisitFactory, state="confirmed", appointment_at=NOW + timedelta(days=7))
    need = factory.SubFactory(
        NeedFactory,
        company=factory.SelfAttribute("..visit.company"),
        site=factory.SelfAttribute("..visit.site"),
    )
    minutes = 12
    created_at = NOW


class MessageFactory(TenantFactory):
    class Meta:
        model = scheduling.Message

    client = same_company(ClientFactory)
    event = factory.Sequence(lambda n: f"event {n}")
    audience = "client"
    kind = "confirmed"
    state = "to_call"
    subject = "Our visit is confirmed"
    body = "Hello."
    created_at = NOW


class MessageDocumentFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.MessageDocument

    message = factory.SubFactory(MessageFactory)
    name = factory.Sequence(lambda n: f"order-{n}.csv")
    media_type = "text/csv"
    content = b"code,pieces\r\n"


class ServiceRecordFactory(TenantFactory):
    class Meta:
        model = scheduling.ServiceRecord

    site = same_company(SiteFactory)
    reference = factory.Sequence(lambda n: f"record-{n}")
    work = factory.LazyFunction(lambda: [{"action": "inspect"}])
    done_at = NOW
    received_at = NOW


class ServicePhotoFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.ServicePhoto

    record = factory.SubFactory(ServiceRecordFactory)
    media_type = "image/png"
    size = 68
    width = 1
    height = 1
    digest = factory.Sequence(lambda n: f"{n:064x}")
    file = factory.django.FileField(data=b"no picture at all", filename="picture")
    received_at = NOW


class ReadingPhotoFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.ReadingPhoto

    reading = factory.SubFactory(ReadingFactory)
    media_type = "image/png"
    size = 68
    width = 1
    height = 1
    digest = factory.Sequence(lambda n: f"{n:064x}")
    file = factory.django.FileField(data=b"no picture at all", filename="picture")
    received_at = NOW


class PlanFactory(TenantFactory):
    class Meta:
        model = scheduling.Plan

    first_day = TODAY
    days = 5
    created_at = NOW


class RoundFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.Round

    plan = factory.SubFactory(PlanFactory)
    installer = factory.SubFactory(InstallerFactory, company=factory.SelfAttribute("..plan.company"))
    day = TODAY
    leaves_at = NOW
    returns_at = NOW + timedelta(hours=6)
    driving_minutes = 60.0
    driving_km = 45.0


class StopFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.Stop

    round = factory.SubFactory(RoundFactory)
    visit = factory.SubFactory(VisitFactory, company=factory.SelfAttribute("..round.plan.company"))
    order = factory.LazyAttribute(lambda row: row.round.stops.count() + 1)
    arrives_at = NOW + timedelta(minutes=30)
    starts_at = NOW + timedelta(minutes=30)
    leaves_at = NOW + timedelta(minutes=75)
    driving_minutes = 30.0
    driving_km = 20.0


class UnservedVisitFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.UnservedVisit

    plan = factory.SubFactory(PlanFactory)
    visit = factory.SubFactory(VisitFactory, company=factory.SelfAttribute("..plan.company"))
    reason = "no_time"
    sentence = "No installer has time within the plan."


class StockLevelFactory(TenantFactory):
    class Meta:
        model = scheduling.StockLevel
        skip_postgeneration_save = True

    item = same_company(CatalogueItemFactory)
    quantity = 3
    counted_at = NOW

    @factory.post_generation
    def opening(self, create: bool, extracted: object, **kwargs: object) -> None:
        if create:
            opening_of(self).save()


class StockMovementFactory(TenantFactory):
    class Meta:
        model = scheduling.StockMovement

    item = same_company(CatalogueItemFactory)
    kind = "return"
    from_place = "outside"
    to_place = "store"
    pieces = 1
    happened_at = NOW
    recorded_at = NOW


class PartsListFactory(TenantFactory):
    class Meta:
        model = scheduling.PartsList

    scope = "period"
    first_day = factory.Sequence(lambda n: TODAY + timedelta(weeks=n))
    last_day = factory.LazyAttribute(lambda row: row.first_day + timedelta(days=4))
    written_at = NOW


class PartsLineFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.PartsLine

    parts_list = factory.SubFactory(PartsListFactory)
    item = factory.SubFactory(CatalogueItemFactory, company=factory.SelfAttribute("..parts_list.company"))
    quantity = 2


class PurchaseOrderFactory(TenantFactory):
    class Meta:
        model = scheduling.PurchaseOrder

    supplier = same_company(SupplierFactory)
    number = factory.LazyAttribute(lambda row: row.company.purchase_orders.count() + 1)
    created_at = NOW
    updated_at = NOW


class PurchaseOrderLineFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.PurchaseOrderLine

    order = factory.SubFactory(PurchaseOrderFactory)
    item = factory.SubFactory(
        CatalogueItemFactory,
        company=factory.SelfAttribute("..order.company"),
        supplier=factory.SelfAttribute("..order.supplier"),
    )
    packs = 2
    pack_size = factory.SelfAttribute("item.pack_size")
    price = factory.SelfAttribute("item.price")


class DeliveryFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.Delivery

    order = factory.SubFactory(PurchaseOrderFactory, state="placed", placed_on=TODAY)
    reference = factory.Sequence(lambda n: f"note-{n}")
    pieces = factory.LazyFunction(lambda: [{"line": 1, "item": 1, "item_code": "SED-5", "quantity": 2, "lot": ""}])
    received_on = TODAY
    recorded_at = NOW


class VatRateFactory(TenantFactory):
    class Meta:
        model = scheduling.VatRate

    vat = "standard"
    percent = Decimal("19.00")
    valid_from = factory.Sequence(lambda n: date(2000, 1, 1) + timedelta(days=n))


class SalesPriceFactory(TenantFactory):
    class Meta:
        model = scheduling.SalesPrice

    kind = "item"
    item = same_company(CatalogueItemFactory)
    price = Decimal("20.00")
    vat = "standard"
    valid_from = date(2020, 1, 1)


class ServiceContractFactory(TenantFactory):
    class Meta:
        model = scheduling.ServiceContract

    client = same_company(ClientFactory)
    name = factory.Sequence(lambda n: f"Care {n}")
    price = Decimal("15.00")
    starts_on = date(2026, 1, 15)


class WarrantyFactory(TenantFactory):
    class Meta:
        model = scheduling.Warranty

    unit = same_company(UnitFactory)
    starts_on = date(2026, 1, 1)
    ends_on = date(2026, 12, 31)


class InvoiceFactory(TenantFactory):
    class Meta:
        model = scheduling.Invoice

    client = same_company(ClientFactory)
    year = 2026
    number = factory.LazyAttribute(lambda row: row.company.invoices.count() + 1)
    issued_on = TODAY
    issued_at = NOW
    first_day = TODAY
    last_day = TODAY
    currency = "EUR"
    seller_name = factory.SelfAttribute("company.name")
    bill_to_name = factory.SelfAttribute("client.name")
    net = Decimal("40.00")
    tax = Decimal("7.60")
    gross = Decimal("47.60")


class InvoiceLineFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.InvoiceLine

    invoice = factory.SubFactory(InvoiceFactory)
    order = factory.LazyAttribute(lambda row: row.invoice.lines.count() + 1)
    kind = "part"
    day = TODAY
    label = "SED-5, sediment cartridge"
    quantity = Decimal("2.0000")
    measure = "piece"
    price = Decimal("20.00")
    net = Decimal("40.00")
    vat = "standard"
    vat_percent = Decimal("19.00")


class InvoicedWorkFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.InvoicedWork

    invoice = factory.SubFactory(InvoiceFactory)
    service_record = factory.SubFactory(ServiceRecordFactory, company=factory.SelfAttribute("..invoice.company"))
