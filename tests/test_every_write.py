"""Every route that writes, called where no transaction is open, as in operation: none may lean on that of a test.

`REQUESTS` says what to send so that the write is carried out; the other routes are called with an empty body. What is
sent is what the description of the API shows as examples: `WRITE_EXAMPLES=1` writes them anew.
"""

import json
import os
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from accounts.services import links
from fleet.config.examples import BODIES
from fleet.engineering.purposes import PURPOSES
from fleet.models import Supplier, Unit
from scheduling.models import Visit
from scheduling.services.orders.deliveries import DeliveredPieces, receive_order
from scheduling.services.people.answer_links import answer_token
from scheduling.services.rounds.hand_moves import preview_move
from scheduling.services.stock.van_loads import van_load
from tests import factories
from tests.cast import ApiFor
from tests.page_table import PAGES
from tests.routes import every_route
from tests.rows import make_row
from tests.test_every_route import ABSENT, PUBLIC, ROWS, TABLE, address, model_of

# What a page sends, the API is asked to do: its writes are these.
WRITES = [
    route
    for route in every_route()
    if route.method != "GET" and TABLE[str(route)] != PUBLIC and str(route) not in PAGES
]
TODAY = timezone.now().date()
SOON = timezone.now().date() + timedelta(days=2)
SUPPLY = "reference,unit,taken at,inlet pressure [psi]\nA1,{unit},{day} 10:00,60\n"


def _unit(company: Company, client: Client) -> Unit:
    """A unit with a train, cartridges and a catalogue that a rotation can draw on."""
    unit = factories.UnitFactory(company=company, site__client=client)
    for role in ("lead", "lag"):
        factories.PlacementFactory(position=factories.PositionFactory(unit=unit, stage="resin", role=role))
    return unit


def _booked(order: Any, company: Company) -> int:
    """A delivery of the order, booked into the store."""
    order.refresh_from_db()
    line = factories.PurchaseOrderLineFactory(order=order)
    by = factories.MembershipFactory(company=company, role="office")
    pieces = [DeliveredPieces(line.pk, 1)]
    return receive_order(order=order, by=by, reference="N-1", pieces=pieces, now=timezone.now())[0].pk


def _load_ahead(day: Any) -> str:
    """The mark of the load of a round, which is made one of tomorrow in a published plan."""
    day.day = (timezone.now() + timedelta(days=1)).date()
    day.save()
    day.plan.state = "published"
    day.plan.save()
    return van_load(day=day, now=timezone.now()).version


def _picture() -> bytes:
    kept = BytesIO()
    Image.new("RGB", (2, 2)).save(kept, "PNG")
    return kept.getvalue()


def _commissioned(unit: Unit) -> Unit:
    """The unit with a membrane, read once after a start."""
    at = timezone.now() - timedelta(days=15)
    Unit.objects.filter(pk=unit.pk).update(commissioned_on=at.date(), design_recovery_fraction=0.2)
    position = factories.PositionFactory(unit=unit, stage="membrane", role="single")
    item = factories.CatalogueItemFactory(company=unit.company, kind="membrane")
    factories.PlacementFactory(position=position, item=item, placed_at=at - timedelta(days=1))
    factories.ReadingFactory(
        unit=unit,
        taken_at=at,
        inlet_pressure_kpa=345.0,
        temperature_degc=12.0,
        feed_tds_mg_per_l=250.0,
        permeate_tds_mg_per_l=9.0,
        permeate_flow_l_per_day=110.0,
        concentrate_flow_l_per_day=440.0,
    )
    return unit


def _catalogue(company: Company) -> bool:
    """What sizing chooses from."""
    for kind in ("sediment", "carbon", "membrane", "resin"):
        factories.CatalogueItemFactory(company=company, kind=kind)
    for purpose in PURPOSES:
        volume = 40.0 if purpose.endswith("_tank") else None
        factories.CatalogueItemFactory(company=company, kind="accessory", purpose=purpose, rated_volume_l=volume)
    return True


def _driven(stop: Any) -> bool:
    """The stop stands in a plan of days to come, in a round of somebody who works then."""
    Visit.objects.filter(pk=stop.visit_id).update(**COMING)
    type(stop.round.plan).objects.filter(pk=stop.round.plan_id).update(first_day=TODAY)
    type(stop.round).objects.filter(pk=stop.round_id).update(day=TODAY + timedelta(days=1))
    return True


def _warnings(stop: Any) -> list[str]:
    """Codes of what the move breaks."""
    stop.refresh_from_db()
    moved = preview_move(stop=type(stop).objects.get(pk=stop.pk), now=timezone.now(), day=SOON)
    return sorted({warning.code for warning in moved.warnings})


def _added(visit: Any) -> int:
    """A need that is proposed for the visit."""
    return factories.VisitAdditionFactory(visit=visit).need_id


# Route -> the body, made from the company, one of its clients, a unit of theirs and the row of the address.
Made = dict[str, Any]
REQUESTS: dict[str, Callable[[Company, Client, Unit, Any], Made]] = {
    "POST /api/v1/clients/": lambda *_: {"name": "A client"},
    "PATCH /api/v1/clients/<pk>/": lambda *_: {"name": "Another name"},
    "DELETE /api/v1/clients/<pk>/": lambda *_: {},
    "POST /api/v1/clients/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/clients/<pk>/unretire/": lambda *_: {},
    "POST /api/v1/client-data/<pk>/erase/": lambda company, client, unit, row: {"name": row.name},
    "PATCH /api/v1/company/": lambda *_: {"name": "North Water and Sons"},
    "POST /api/v1/logout/": lambda *_: {},
    "DELETE /api/v1/browser-sessions/<pk>/": lambda *_: {},
    "POST /api/v1/me/email/": lambda *_: {
        "email": "olga@new.example",
        "current_password": factories.PASSWORD,
    },
    "POST /api/v1/me/end-all/": lambda *_: {},
    "POST /api/v1/members/<pk>/end/": lambda *_: {},
    "DELETE /api/v1/tokens/<pk>/": lambda *_: {},
    "PATCH /api/v1/me/": lambda *_: {"gets_digest": False},
    "POST /api/v1/me/password/": lambda *_: {
        "current_password": factories.PASSWORD,
        "new_password": "heron-basin-lantern-31",
    },
    "POST /api/v1/webhook-endpoints/": lambda *_: {
        "name": "desk",
        "url": "https://receiver.example/hooks",
        "events": ["finding.opened", "visit.planned"],
    },
    "PATCH /api/v1/webhook-endpoints/<pk>/": lambda *_: {"is_on": False},
    "DELETE /api/v1/webhook-endpoints/<pk>/": lambda *_: {},
    "POST /api/v1/webhook-endpoints/<pk>/rotate-secret/": lambda *_: {},
    "POST /api/v1/webhook-endpoints/<pk>/test/": lambda *_: {},
    "POST /api/v1/deliveries/<pk>/replay/": lambda *_: {},
    "POST /api/v1/invitations/": lambda *_: {"email": "nora@north.example", "role": "office"},
    "POST /api/v1/invitations/<pk>/withdraw/": lambda *_: {},
    "PATCH /api/v1/members/<pk>/": lambda *_: {"name": "Nora Finch"},
    "POST /api/v1/me/authentication/": lambda *_: {"current_password": factories.PASSWORD},
    "POST /api/v1/tokens/": lambda *_: {
        "name": "nightly export",
        "expires_at": (timezone.now() + timedelta(minutes=30)).isoformat(),
        "scopes": ["read"],
    },
    "POST /api/v1/sites/": lambda company, client, unit, row: {
        "client": client.pk,
        "code": "S-NEW",
        "name": "A site",
        "latitude": 52.0,
        "longitude": 13.0,
    },
    "POST /api/v1/positions/": lambda company, client, unit, row: {
        "unit": factories.UnitFactory(company=company).pk,
        "order": 1,
        "stage": "sediment",
    },
    "PATCH /api/v1/positions/<pk>/": lambda *_: {"connection": "push_in_1_4_inch"},
    "POST /api/v1/units/": lambda company, client, unit, row: {
        "site": unit.site_id,
        "code": "RX-100",
        "use": "reef",
        "kind": "ro_di",
        "commissioned_on": "2026-01-10",
        "template": "ro_di",
        "weekly_demand": "150 L",
    },
    "POST /api/v1/units/<pk>/commissioning-check/": lambda company, client, unit, row: (
        _commissioned(row)
        and {
            "inlet_pressure": "50 psi",
            "product_tds": "0 mg/L",
        }
    ),
    "POST /api/v1/catalogue-items/": lambda *_: {
        "code": "SED-5",
        "name": "Sediment 5 um",
        "kind": "sediment",
        "price": "4.50",
        "pack_size": 6,
        "micron_rating": "5 um",
    },
    "POST /api/v1/diagnosis/": lambda company, client, unit, row: {
        "unit": _commissioned(unit).pk,
        "reading": {"inlet_pressure": "25 psi", "permeate_tds": "40 mg/L"},
    },
    "POST /api/v1/sizing/": lambda company, client, unit, row: (
        _catalogue(company)
        and {
            "uses": [{"use": "drinking", "weekly_demand": "70 L"}],
            "lowest_line_pressure": "50 psi",
            "lowest_temperature": "8 degC",
            "usual_temperature": "14 degC",
            "feed_tds": "250 mg/L",
            "hardness": "120 mg/L as CaCO3",
            "alkalinity": "90 mg/L as CaCO3",
            "ph": "7.6",
            "total_chlorine": "0.8 mg/L",
            "disinfectant": "chlorine",
        }
    ),
    "PATCH /api/v1/catalogue-items/<pk>/": lambda *_: {"price": "3.00"},
    "POST /api/v1/parts-rules/": lambda company, client, unit, row: {
        "item": factories.CatalogueItemFactory(company=company, kind="small_part").pk
    },
    "PATCH /api/v1/parts-rules/<pk>/": lambda *_: {"quantity": 3},
    "POST /api/v1/instruments/": lambda company, client, unit, row: {"name": "Wall meter", "unit": unit.pk},
    "PATCH /api/v1/instruments/<pk>/": lambda *_: {"tds_factor": 0.64},
    "POST /api/v1/exhaustion-limits/": lambda *_: {"use": "drinking", "product_tds": "50 mg/L"},
    "PATCH /api/v1/exhaustion-limits/<pk>/": lambda *_: {"minimum_rejection_fraction": 0.9},
    "POST /api/v1/imports/": lambda *_: {
        "file": SimpleUploadedFile("clients.csv", b"name,phone\nExample Bar,040 5550100\n"),
        "store": "true",
    },
    "POST /api/v1/installers/": lambda company, client, unit, row: {
        "membership": factories.MembershipFactory(company=company, role="installer").pk,
        "name": "Ada",
        "home_latitude": 52.0,
        "home_longitude": 13.0,
    },
    "PATCH /api/v1/absences/<pk>/": lambda *_: {"reason": "a course"},
    "POST /api/v1/feed-water-samples/upload/": lambda company, client, unit, row: {
        "file": SimpleUploadedFile(
            "water.csv",
            f"site,taken at,hardness [mg/L as CaCO3]\n{unit.site.code},{TODAY - timedelta(days=3)},210\n".encode(),
        )
    },
    "POST /api/v1/visits/<pk>/offer/": lambda *_: {
        "windows": [
            {"opens_at": f"{SOON}T08:00:00Z", "closes_at": f"{SOON}T11:00:00Z"},
            {"opens_at": f"{SOON}T13:00:00Z", "closes_at": f"{SOON}T16:00:00Z"},
        ],
        "outside_access_hours": True,
    },
    "POST /api/v1/visits/<pk>/unlock/": lambda *_: {"note": "any day will do"},
    "POST /api/v1/service-records/<pk>/photos/": lambda *_: {"file": SimpleUploadedFile("a.png", _picture())},
    "POST /api/v1/plans/<pk>/replan/": lambda company, client, unit, row: {
        "iterations": 1,
        "urgent_calls": [{"unit": unit.pk, "reason": "no water"}],
    },
    "POST /api/v1/suppliers/": lambda *_: {"name": "A supplier"},
    "PATCH /api/v1/suppliers/<pk>/": lambda *_: {"name": "Another name"},
    "DELETE /api/v1/suppliers/<pk>/": lambda *_: {},
    "DELETE /api/v1/catalogue-items/<pk>/": lambda *_: {},
    "POST /api/v1/catalogue-items/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/catalogue-items/<pk>/unretire/": lambda *_: {},
    "DELETE /api/v1/exhaustion-limits/<pk>/": lambda *_: {},
    "DELETE /api/v1/instruments/<pk>/": lambda *_: {},
    "POST /api/v1/instruments/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/instruments/<pk>/unretire/": lambda *_: {},
    "DELETE /api/v1/parts-rules/<pk>/": lambda *_: {},
    "DELETE /api/v1/positions/<pk>/": lambda *_: {},
    "DELETE /api/v1/units/<pk>/": lambda *_: {},
    "POST /api/v1/units/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/units/<pk>/unretire/": lambda *_: {},
    "DELETE /api/v1/sites/<pk>/": lambda *_: {},
    "POST /api/v1/sites/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/sites/<pk>/unretire/": lambda *_: {},
    "PATCH /api/v1/sites/<pk>/": lambda *_: {"name": "Another name"},
    "PATCH /api/v1/units/<pk>/": lambda *_: {"code": "RX-99"},
    "POST /api/v1/findings/<pk>/confirm/": lambda *_: {"note": "seen on site"},
    "POST /api/v1/findings/<pk>/dismiss/": lambda *_: {"note": "looked, nothing there"},
    "POST /api/v1/forecast-quality/": lambda *_: {
        "first_cut": str(TODAY - timedelta(days=90)),
        "last_cut": str(TODAY - timedelta(days=60)),
    },
    "POST /api/v1/forecasts/run/": lambda *_: {},
    "POST /api/v1/jobs/<pk>/stop/": lambda *_: {},
    "POST /api/v1/readings/": lambda company, client, unit, row: {"unit": unit.pk, "inlet_pressure": "60 psi"},
    "POST /api/v1/units/<pk>/readings/": lambda *_: {"inlet_pressure": "60 psi"},
    "POST /api/v1/readings/upload/": lambda company, client, unit, row: {
        "file": SimpleUploadedFile(
            "log.csv", SUPPLY.format(unit=unit.code, day=timezone.now().date() - timedelta(days=3)).encode()
        )
    },
    "POST /api/v1/feed-water-samples/": lambda company, client, unit, row: {
        "site": unit.site_id,
        "hardness": "210 mg/L as CaCO3",
    },
    "POST /api/v1/placements/": lambda company, client, unit, row: {
        "position": factories.PositionFactory(unit=unit).pk,
        "item": factories.CatalogueItemFactory(company=company).pk,
    },
    "POST /api/v1/placements/rotate/": lambda company, client, unit, row: {
        "unit": unit.pk,
        "stage": "resin",
        "item": factories.CatalogueItemFactory(company=company, kind="resin").pk,
    },
    "POST /api/v1/placements/<pk>/remove/": lambda *_: {"removal": "exhausted"},
    "POST /api/v1/readings/<pk>/void/": lambda *_: {"reason": "It was never read."},
    "POST /api/v1/feed-water-samples/<pk>/void/": lambda *_: {"reason": "It was never read."},
    "POST /api/v1/placements/<pk>/swap/": lambda company, client, unit, row: {
        "other": factories.PlacementFactory(
            position=factories.PositionFactory(unit=row.position.unit, stage=row.position.stage)
        ).pk,
        "reason": "The two were mistaken for one another.",
    },
    "POST /api/v1/placements/<pk>/correct/": lambda *_: {"serial_or_lot": "LOT 7", "reason": "Misread."},
    "POST /api/v1/placements/<pk>/void/": lambda *_: {"reason": "It was never fitted."},
    "POST /api/v1/calendar-feeds/": lambda company, client, *_: {"client": client.pk},
    "DELETE /api/v1/calendar-feeds/<pk>/": lambda *_: {},
    "POST /api/v1/absences/": lambda company, client, unit, row: {
        "installer": factories.InstallerFactory(company=company).pk,
        "first_day": str(SOON),
        "last_day": str(SOON),
    },
    "DELETE /api/v1/absences/<pk>/": lambda *_: {},
    "PATCH /api/v1/installers/<pk>/": lambda *_: {"van": "Van 7"},
    "DELETE /api/v1/installers/<pk>/": lambda *_: {},
    "POST /api/v1/installers/<pk>/retire/": lambda *_: {"reason": "entered twice"},
    "POST /api/v1/installers/<pk>/unretire/": lambda *_: {},
    "POST /api/v1/messages/<pk>/called/": lambda *_: {"note": "told on the phone"},
    "POST /api/v1/needs/": lambda company, client, unit, row: {
        "unit": unit.pk,
        "kind": "inspect",
        "reason": "asked by the client",
    },
    "POST /api/v1/needs/<pk>/drop/": lambda *_: {"note": "no longer wanted"},
    "POST /api/v1/plans/": lambda *_: {"iterations": 1, "days": 1},
    "POST /api/v1/plans/<pk>/publish/": lambda *_: {},
    "POST /api/v1/plans/<pk>/write-parts-lists/": lambda *_: {},
    "PATCH /api/v1/policy/": lambda *_: {"visit_cost": 55},
    "POST /api/v1/policy/preview/": lambda *_: {"visit_cost": 60, "seed": 7},
    "POST /api/v1/policy/frontier/": lambda *_: {"seed": 7},
    "POST /api/v1/vat-rates/": lambda *_: {"vat": "reduced", "percent": "7", "valid_from": "2020-01-01"},
    "PATCH /api/v1/vat-rates/<pk>/": lambda *_: {"percent": "8"},
    "DELETE /api/v1/vat-rates/<pk>/": lambda *_: {},
    "POST /api/v1/sales-prices/": lambda *_: {"kind": "hour", "price": "50.00", "valid_from": "2020-01-01"},
    "PATCH /api/v1/sales-prices/<pk>/": lambda *_: {"price": "51.00"},
    "DELETE /api/v1/sales-prices/<pk>/": lambda *_: {},
    "POST /api/v1/service-contracts/": lambda company, client, unit, row: {
        "client": client.pk,
        "unit": unit.pk,
        "name": "Care",
        "price": "9.00",
        "starts_on": "2026-01-01",
    },
    "PATCH /api/v1/service-contracts/<pk>/": lambda *_: {"covers_labour": True},
    "DELETE /api/v1/service-contracts/<pk>/": lambda *_: {},
    "POST /api/v1/warranties/": lambda company, client, unit, row: {
        "unit": unit.pk,
        "starts_on": "2026-01-01",
        "ends_on": "2027-12-31",
    },
    "PATCH /api/v1/warranties/<pk>/": lambda *_: {"ends_on": "2028-12-31"},
    "DELETE /api/v1/warranties/<pk>/": lambda *_: {},
    "POST /api/v1/invoices/": lambda company, client, unit, row: (
        factories.SalesPriceFactory(company=company, kind="call_out", item=None, vat="none")
        and {"service_record": factories.ServiceRecordFactory(site=unit.site, company=company, parts=[]).pk}
    ),
    "POST /api/v1/invoices/<pk>/cancel/": lambda *_: {"reason": "It went to the wrong address."},
    "POST /api/v1/purchase-orders/": lambda company, client, unit, row: {
        "supplier": (supplier := factories.SupplierFactory(company=company)).pk,
        "lines": [{"item": factories.CatalogueItemFactory(company=company, supplier=supplier).pk, "packs": 2}],
    },
    "POST /api/v1/purchase-orders/draft/": lambda *_: {"until": str(SOON)},
    "PATCH /api/v1/purchase-orders/<pk>/": lambda *_: {"note": "ring first"},
    "POST /api/v1/purchase-orders/<pk>/cancel/": lambda *_: {"note": "the supplier has none"},
    "POST /api/v1/purchase-orders/<pk>/place/": lambda company, client, unit, row: (
        factories.PurchaseOrderLineFactory(order=row) and {"supplier_reference": "A-2031"}
    ),
    "POST /api/v1/purchase-orders/<pk>/send/": lambda company, client, unit, row: (
        factories.PurchaseOrderLineFactory(order=row)
        and Supplier.objects.update(email="orders@supplier.example")
        and {"expected_on": str(SOON)}
    ),
    "POST /api/v1/purchase-orders/<pk>/receive/": lambda company, client, unit, row: {
        "reference": "N-1",
        "pieces": [{"line": factories.PurchaseOrderLineFactory(order=row).pk, "quantity": 1}],
    },
    "POST /api/v1/purchase-orders/<pk>/void-delivery/": lambda company, client, unit, row: {
        "delivery": _booked(row, company),
        "reason": "the crate was somebody else's",
    },
    "POST /api/v1/purchase-orders/<pk>/expect/": lambda company, client, unit, row: (
        factories.PurchaseOrderLineFactory(order=row) and {"expected_on": str(SOON)}
    ),
    "POST /api/v1/rounds/<pk>/confirm-load/": lambda company, client, unit, row: {"version": _load_ahead(row)},
    "POST /api/v1/service-records/": lambda company, client, unit, row: {
        "site": unit.site_id,
        "reference": "van-1/0001",
        "done_at": (timezone.now() - timedelta(hours=1)).isoformat(),
        "work": [{"action": "inspect", "unit": unit.pk}],
        "readings": [{"unit": unit.pk, "inlet_pressure": "60 psi"}],
    },
    "POST /api/v1/service-records/<pk>/void/": lambda *_: {"reason": "Nobody was there."},
    "POST /api/v1/service-records/<pk>/correct/": lambda company, client, unit, row: {
        "site": row.site_id,
        "reference": "van-1/0002",
        "done_at": (timezone.now() - timedelta(hours=1)).isoformat(),
        "work": [{"action": "inspect", "unit": factories.UnitFactory(company=company, site=row.site).pk}],
        "reason": "Only looked at.",
    },
    "POST /api/v1/reading-photos/": lambda company, client, unit, row: {
        "reading": factories.ReadingFactory(unit=unit).pk,
        "file": SimpleUploadedFile("floor.png", _picture()),
    },
    "POST /api/v1/site-pairs/": lambda company, client, unit, row: {
        "first_site": unit.site_id,
        "second_site": factories.SiteFactory(company=company).pk,
        "rule": "apart",
    },
    "DELETE /api/v1/site-pairs/<pk>/": lambda *_: {},
    "POST /api/v1/stock-levels/": lambda company, client, unit, row: {
        "item": factories.CatalogueItemFactory(company=company).pk,
        "quantity": 4,
    },
    "PATCH /api/v1/stock-levels/<pk>/": lambda *_: {"quantity": 5},
    "DELETE /api/v1/stock-levels/<pk>/": lambda *_: {},
    "POST /api/v1/stock-movements/": lambda company, client, unit, row: {
        "item": factories.CatalogueItemFactory(company=company).pk,
        "kind": "return",
        "pieces": 2,
        "reason": "the unit was sold",
    },
    "POST /api/v1/stock-movements/<pk>/void/": lambda *_: {"reason": "counted twice"},
    "POST /api/v1/stops/<pk>/preview-move/": lambda company, client, unit, row: _driven(row) and {"day": str(SOON)},
    "POST /api/v1/stops/<pk>/move/": lambda company, client, unit, row: (
        _driven(row)
        and {
            "day": str(SOON),
            "acknowledge": _warnings(row),
            "reason": "the client asked",
        }
    ),
    "POST /api/v1/stops/<pk>/lock/": lambda *_: {"reason": "the client asked"},
    "POST /api/v1/visits/propose/": lambda *_: {},
    "POST /api/v1/visits/<pk>/confirm/": lambda company, client, unit, row: {
        "appointment_at": f"{SOON}T09:00:00Z",
        "outside_access_hours": True,
    },
    "POST /api/v1/visits/<pk>/accept/": lambda *_: {"opens_at": f"{SOON}T08:00:00Z"},
    "POST /api/v1/visits/<pk>/decline/": lambda *_: {"reason": "away that week"},
    "POST /api/v1/visits/<pk>/ask-for-call/": lambda *_: {"note": "after five"},
    "POST /api/v1/visits/<pk>/accept-additions/": lambda company, client, unit, row: {
        "needs": [_added(row)],
        "outside_access_hours": True,
    },
    "POST /api/v1/visits/<pk>/decline-additions/": lambda company, client, unit, row: {
        "needs": [_added(row)],
        "note": "next time",
    },
    "POST /api/v1/visits/<pk>/cancel/": lambda *_: {"note": "the client moved house"},
    "POST /api/v1/visits/<pk>/begin/": lambda *_: {},
    "POST /api/v1/visits/<pk>/complete/": lambda *_: {"note": "all as planned"},
    "POST /api/v1/visits/<pk>/depart/": lambda *_: {},
    "POST /api/v1/visits/<pk>/not-done/": lambda *_: {"obstacle": "nobody_in"},
    "POST /api/v1/visits/<pk>/unconfirm/": lambda *_: {"note": "the client rang"},
}

NEXT_HOUR = timezone.now() + timedelta(hours=1)
COMING = {"latest_day": TODAY + timedelta(days=30), "best_day": SOON, "earliest_day": TODAY}
CONFIRMED = {**COMING, "state": "confirmed", "appointment_at": timezone.now() + timedelta(minutes=30)}
OFFERED = {
    **COMING,
    "state": "offered",
    "offers": [{"opens_at": f"{SOON}T08:00:00+00:00", "closes_at": f"{SOON}T11:00:00+00:00"}],
}
TOMORROW = {
    name: timezone.now().replace(hour=9, minute=minute) + timedelta(days=1)
    for name, minute in (("arrives_at", 0), ("starts_at", 0), ("leaves_at", 45))
}
RETIRED = {"retired_at": timezone.now(), "retired_reason": "entered twice"}
# What the row must be for the write to be possible.
STATES: dict[str, dict[str, Any]] = {
    "POST /api/v1/clients/<pk>/unretire/": RETIRED,
    "POST /api/v1/sites/<pk>/unretire/": RETIRED,
    "POST /api/v1/units/<pk>/unretire/": {**RETIRED, "retired_on": TODAY},
    "POST /api/v1/catalogue-items/<pk>/unretire/": RETIRED,
    "POST /api/v1/instruments/<pk>/unretire/": RETIRED,
    "POST /api/v1/installers/<pk>/unretire/": RETIRED,
    "POST /api/v1/stops/<pk>/lock/": {"arrives_at": NEXT_HOUR, "starts_at": NEXT_HOUR, "leaves_at": NEXT_HOUR},
    "POST /api/v1/plans/<pk>/publish/": {"first_day": TODAY + timedelta(days=60)},
    "POST /api/v1/purchase-orders/<pk>/receive/": {"state": "placed", "placed_on": TODAY},
    "POST /api/v1/purchase-orders/<pk>/void-delivery/": {"state": "placed", "placed_on": TODAY},
    "POST /api/v1/purchase-orders/<pk>/expect/": {"state": "placed", "placed_on": TODAY},
    "POST /api/v1/visits/<pk>/confirm/": COMING,
    "POST /api/v1/stops/<pk>/move/": TOMORROW,
    "POST /api/v1/stops/<pk>/preview-move/": TOMORROW,
    "POST /api/v1/visits/<pk>/accept/": OFFERED,
    "POST /api/v1/visits/<pk>/decline/": OFFERED,
    "POST /api/v1/visits/<pk>/accept-additions/": {**CONFIRMED, "appointment_at": f"{SOON}T09:00:00Z"},
    "POST /api/v1/visits/<pk>/decline-additions/": CONFIRMED,
    "POST /api/v1/visits/<pk>/begin/": {**CONFIRMED, "state": "on_the_way"},
    "POST /api/v1/visits/<pk>/offer/": COMING,
    "POST /api/v1/plans/<pk>/replan/": {"state": "published", "first_day": TODAY},
    "POST /api/v1/visits/<pk>/depart/": CONFIRMED,
    "POST /api/v1/visits/<pk>/not-done/": CONFIRMED,
    "POST /api/v1/visits/<pk>/unconfirm/": CONFIRMED,
}


def _in_company(company: Company) -> Membership:
    return factories.MembershipFactory(company=company, role="office")


# Writes of whoever is not signed in: what stands in the address, and the body.
PUBLIC_REQUESTS: dict[str, Callable[[Company, Client], tuple[str, Made]]] = {
    "POST /api/v1/login/": lambda company, client: (
        "",
        {"email": _in_company(company).user.email, "password": factories.PASSWORD, "name": "phone"},
    ),
    "POST /api/v1/session/": lambda company, client: (
        "",
        {"email": _in_company(company).user.email, "password": factories.PASSWORD},
    ),
    "POST /api/v1/password-resets/": lambda *_: ("", {"email": "nora@north.example"}),
    "POST /api/v1/password-resets/<token>/": lambda company, client: (
        links.password_token(_in_company(company).user),
        {"password": "heron-basin-lantern-31"},
    ),
    "POST /api/v1/invitation-links/<token>/": lambda company, client: (
        links.invitation_token(factories.InvitationFactory(company=company)),
        {"password": "heron-basin-lantern-31"},
    ),
    "POST /api/v1/answers/<token>/": lambda company, client: (
        answer_token(factories.VisitFactory(company=company, site__client=client, **OFFERED)),
        {"answer": "accept", "opens_at": f"{SOON}T08:00:00Z"},
    ),
}


@pytest.mark.django_db(transaction=True)
@pytest.mark.served
def test_no_write_leans_on_a_transaction_of_somebody_else(
    company: Company, first_client: Client, owner: Membership, api_for: ApiFor
) -> None:
    assert not connection.in_atomic_block
    failed = []
    sent: dict[str, Any] = {}
    # each call adds a unit: what simulates years of the whole company is asked for while it has hardly any
    for route in sorted(WRITES, key=lambda route: not route.path.startswith("/api/v1/policy/")):
        name = str(route)
        client = factories.ClientFactory(company=company)
        row = make_row(model_of(route), company=company, client=client) if route in ROWS else None
        if row is not None and name in STATES:
            type(row)._base_manager.filter(pk=row.pk).update(**STATES[name])
        unit = _unit(company, first_client)
        body = REQUESTS[name](company, first_client, unit, row) if name in REQUESTS else {}
        call = getattr(api_for(owner), route.method.lower())
        manner = "multipart" if "file" in body else "json"
        answer = call(address(route, row.pk if row is not None else ABSENT), body, format=manner)
        if answer.status_code >= 500 or (name in REQUESTS and answer.status_code >= 300):
            failed.append((name, answer.status_code, answer.content[:300]))
        if name in REQUESTS and body and manner == "json":
            sent[name] = json.loads(json.dumps(body, default=str))
    for name, made in PUBLIC_REQUESTS.items():
        token, body = made(company, first_client)
        answer = APIClient().post(name.removeprefix("POST ").replace("<token>", token), body, format="json")
        if answer.status_code >= 300:
            failed.append((name, answer.status_code, answer.content[:300]))
        sent[name] = body
    assert not failed, "\n".join(map(str, failed))
    if os.environ.get("WRITE_EXAMPLES"):
        BODIES.write_text(json.dumps(sent, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    shown = json.loads(BODIES.read_text())
    assert {name: shape(body) for name, body in shown.items()} == {name: shape(body) for name, body in sent.items()}


def shape(value: Any) -> Any:
    """What a body is made of, without the ids and days of this run."""
    if isinstance(value, dict):
        return {name: shape(part) for name, part in value.items()}
    if isinstance(value, list):
        # How many words there are may depend on the hour, as what a move of today breaks does.
        return "words" if all(isinstance(part, str) for part in value) else [shape(part) for part in value]
    return type(value).__name__


def test_what_is_sent_belongs_to_a_route() -> None:
    names = {str(route) for route in WRITES}
    assert {name for name in PUBLIC_REQUESTS if TABLE.get(name) != PUBLIC} == set()
    assert set(REQUESTS) <= names
    assert set(STATES) <= set(REQUESTS)
