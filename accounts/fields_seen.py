"""The one table of who reads what: (kind of answer, field) -> roles.

A kind is the name of a serializer without that word, such as "Visit"; one that extends another has the rows of both. A
field that a role does not read is absent from its answers, and lists can be neither filtered nor ordered by it. The
description of the interface says of such a field who reads it.

A field without a row is read by the company's own people, never by clients: a new one stays inside until somebody
decides. Quantities that were measured have no rows, for whoever sees the row of a reading sees what it measured.

What a role may do stands in `accounts.permissions`, whose rows it sees in `accounts.tenancy`.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from accounts.models import Membership
from accounts.permissions import EVERYONE, OFFICE, OWNER, STAFF, Role

Roles = frozenset[Role]


def _table(*rows: tuple[str, Roles, str]) -> Mapping[tuple[str, str], Roles]:
    """Spread rows over their fields, refusing a pair that is named twice."""
    table: dict[tuple[str, str], Roles] = {}
    for kind, roles, fields in rows:
        for field in fields.split():
            if (kind, field) in table:
                raise ValueError(f"{kind} {field} appears in the table twice.")
            table[kind, field] = roles
    return table


READERS: Final = _table(
    # accounts
    ("Company", EVERYONE, "id name currency time_zone unit_system phone email address tax_number created_at"),
    ("MyCompany", EVERYONE, "id name currency time_zone unit_system"),
    ("Membership", EVERYONE, "id name role client company"),
    ("Membership", OFFICE, "gets_digest"),
    ("Me", EVERYONE, "email membership memberships may second_factor recent_until"),
    ("SecondFactorState", EVERYONE, "is_set_up is_wanted was_given recovery_codes_left"),
    ("Index", EVERYONE, "documentation description problems addresses"),
    ("NewSecondFactor", EVERYONE, "key address"),
    ("RecoveryCodes", EVERYONE, "recovery_codes"),
    ("SignedIn", EVERYONE, "token expires_at membership"),
    ("Token", EVERYONE, "id name membership meter_unit scopes created_at expires_at last_used_at"),
    ("SecretToken", EVERYONE, "token"),
    ("WebhookEndpoint", OWNER, "id name url events is_on earlier_until failing_since switched_off_at created_at"),
    ("SecretWebhookEndpoint", OWNER, "secret"),
    ("WebhookDelivery", OWNER, "id endpoint event message_id state attempts answer_status trouble body happened_at"),
    ("WebhookDelivery", OWNER, "attempted_at next_attempt_at delivered_at"),
    # Clients read of these what stands in the archive of their own data.
    ("Client", EVERYONE, "id name email phone retired_at created_at"),
    ("Member", EVERYONE, "id email name role client is_active created_at"),
    ("Member", OFFICE, "has_second_factor"),
    ("Company", OFFICE, "second_factor_roles"),
    ("Company", STAFF, "installers_see"),
    # Whoever has the link reads what it offers.
    ("InvitationOfLink", EVERYONE, "company email role expires_at has_account"),
    ("Joined", EVERYONE, "membership"),
    ("BrowserSession", EVERYONE, "id membership device signed_in_at last_used_at is_this"),
    ("Client", STAFF, "notes retired_by retired_reason"),
    ("CatalogueItem", STAFF, "retired_reason"),
    ("Installer", STAFF, "retired_reason"),
    ("Instrument", EVERYONE, "retired_at"),
    ("Instrument", STAFF, "retired_by retired_reason"),
    # fleet: sites and units
    (
        "Site",
        EVERYONE,
        "id client code name address is_known latitude longitude is_located time_zone chloraminated supply",
    ),
    ("Site", EVERYONE, "client_since created_at own_well access_windows access_exceptions"),
    ("Site", EVERYONE, "retired_at"),
    ("Site", STAFF, "access_notes retired_by retired_reason"),
    ("AccessWindow", EVERYONE, "weekday opens closes"),
    ("AccessException", EVERYONE, "first_day last_day opens closes reason"),
    ("Unit", EVERYONE, "id site code name use kind commissioned_on retired_on tank restrictor totaliser created_at"),
    ("Unit", EVERYONE, "has_booster_pump has_float_valve has_automatic_shutoff_valve has_check_valve"),
    ("Unit", EVERYONE, "has_pressure_gauge has_drinking_outlet design_recovery_fraction"),
    ("Unit", EVERYONE, "client_since next_change_on open_finding_count assumed"),
    ("Unit", EVERYONE, "retired_at"),
    ("Unit", STAFF, "notes retired_by retired_reason"),
    ("UnitDetail", EVERYONE, "positions latest_reading open_findings"),
    ("UnitFindings", EVERYONE, "unit read_at findings"),
    ("Position", EVERYONE, "id unit order stage role cartridge_size connection flow_direction"),
    ("PositionDetail", EVERYONE, "id order stage role installed forecast"),
    ("Placement", EVERYONE, "id unit position item item_code item_name serial_or_lot placed_at removed_at removal"),
    ("Placement", EVERYONE, "first_installed_at continues entered_at corrects corrected_by"),
    ("Placement", STAFF, "voided_at voided_by void_reason"),
    ("Instrument", EVERYONE, "id unit name measures tds_factor compensates_temperature accuracy_fraction resolution"),
    ("Status", EVERYONE, "unit water sentence read_at measured value limit next_change"),
    ("Status", EVERYONE, "please_read asks findings cautions"),
    ("Change", EVERYONE, "position stage role on from_day to_day sentence"),
    # fleet: what was read, and what it means
    ("Reading", EVERYONE, "id unit taken_at reference source instrument person occasion state minutes_since_start"),
    ("Reading", EVERYONE, "tank_valve pump tank_is_full sampled_after_flush as_sent flags corrects corrected_by"),
    ("Reading", EVERYONE, "received_at observations"),
    ("Reading", STAFF, "note batch line recorded_by"),
    ("ReadingDetail", EVERYONE, "indicators"),
    ("AsSent", EVERYONE, "value unit tds_factor brought_to_25_degc_by"),
    ("Flag", EVERYONE, "field code sentence"),
    # Who sends a list, as a meter that was without a network does, learns what became of each row.
    ("IntakeBatch", EVERYONE, "id kind received_at rows stored flagged duplicates refused refused_rows flagged_rows"),
    ("IntakeBatch", STAFF, "name digest job"),
    ("RefusedRow", EVERYONE, "id batch line row faults"),
    ("FlaggedRow", EVERYONE, "id line flags"),
    ("RowFault", EVERYONE, "field code sentence"),
    ("Indicators", EVERYONE, "values reasons valid_for_trend computed_at"),
    ("Indicator", EVERYONE, "value unit uncertainty client_sentence"),
    ("Indicator", STAFF, "installer_sentence"),
    ("FeedWaterSample", EVERYONE, "id site taken_at reference measured_by method supply as_sent flags corrects"),
    ("FeedWaterSample", EVERYONE, "corrected_by received_at"),
    ("FeedWaterSample", STAFF, "voided_at voided_by void_reason"),
    ("Reading", STAFF, "voided_at voided_by void_reason"),
    ("FeedWaterSample", STAFF, "batch line recorded_by"),
    ("Finding", EVERYONE, "id unit position reading title cause state opened_at last_seen_at decided_at closed_at"),
    ("Finding", EVERYONE, "caution client_sentence"),
    ("Finding", STAFF, "rule confidence numbers decision_note confirming_check action installer_sentence"),
    ("Forecast", EVERYONE, "id unit position stage role placement as_of computed_at is_latest state driver"),
    (
        "Forecast",
        EVERYONE,
        "p05 p10 p25 p50 p75 p90 p95 probability remaining_share daily_load daily_load_unit "
        "fresh_life_p10_days fresh_life_p50_days fresh_life_p90_days",
    ),
    ("Forecast", EVERYONE, "client_sentence"),
    # What it was learned from stands also at other clients' sites.
    ("Forecast", STAFF, "evidence installer_sentence"),
    ("ForecastChange", EVERYONE, "before after sentence"),
    ("FirstToFail", EVERYONE, "as_of position_count dated_count first p05 p10 p25 p50 p75 p90 p95 probability"),
    ("FirstToFail", EVERYONE, "client_sentence"),
    ("FirstToFail", STAFF, "installer_sentence"),
    # scheduling: visits
    ("CalendarFeed", EVERYONE, "id installer client name created_at"),
    ("OpenedCalendarFeed", EVERYONE, "address"),
    ("Visit", EVERYONE, "id site site_name state is_urgent earliest_day latest_day best_day minutes appointment_at"),
    ("Visit", EVERYONE, "installer installer_name offers tasks revision obstacle closed_at created_at updated_at"),
    ("Visit", STAFF, "skills reason closing_note costs costs_first_day cost_of_leaving travel_cost lock"),
    ("Visit", EVERYONE, "confirmed_minutes client_sentence client_work"),
    # What is only proposed is the office's to decide.
    ("Visit", STAFF, "additions"),
    ("VisitAddition", STAFF, "reason"),
    # Clients are promised windows, never the minute of a plan that may change every night.
    ("Visit", STAFF, "planned why_in_no_round"),
    ("Window", EVERYONE, "opens_at closes_at"),
    # Whoever has the link of an offer reads how that one visit stands.
    ("OfferOfLink", EVERYONE, "company phone site address work minutes state sentence is_open may_cancel windows"),
    ("OfferedWindow", EVERYONE, "opens_at closes_at words"),
    ("VisitTask", EVERYONE, "order need kind label state unit unit_code position item minutes outcome"),
    ("VisitTask", STAFF, "reason outcome_reason"),
    (
        "Message",
        EVERYONE,
        "id audience kind state client client_name phone installer installer_name visit email text_number",
    ),
    ("Message", EVERYONE, "finding subject body created_at useful_until sent_at called_at"),
    ("Message", STAFF, "attempts trouble call_note order supplier_name"),
    # A client reads the invoices that were issued to them, as they got them.
    ("Invoice", EVERYONE, "id kind number year client issued_on issued_at first_day last_day currency net tax gross"),
    ("Invoice", EVERYONE, "seller_name seller_address seller_tax_number bill_to_name bill_to_address by_rate lines"),
    ("Invoice", EVERYONE, "cancels cancelled_by reason"),
    ("Invoice", STAFF, "issued_by"),
    ("InvoiceLine", EVERYONE, "order kind day site_name unit_code label quantity measure price net vat vat_percent"),
    ("InvoiceLine", EVERYONE, "free_because"),
    ("TaxOfRate", EVERYONE, "vat percent net tax"),
    ("Absence", OFFICE, "reason"),
    ("StockMovement", STAFF, "reason"),
    # read by the company's people alone, installers included: what things cost and why they are done
    ("CatalogueItem", STAFF, "price price_breaks"),
    ("PriceBreak", STAFF, "from_packs price"),
    ("SizedFitting", STAFF, "price"),
    ("SizedPart", STAFF, "price cost_per_year"),
    ("Alternative", STAFF, "first_cost running_cost_per_year reasons"),
    ("Offer", STAFF, "note remarks"),
    ("Diagnosis", STAFF, "note reasons"),
    ("Need", STAFF, "missing_part reason"),
    ("WantedReading", STAFF, "reason price saves net"),
    ("ExplainedNeed", STAFF, "missing_part reason price cost_curve late_cost_per_day exhausted_cost_per_day"),
    ("Plan", STAFF, "costs"),
    ("WholePlan", STAFF, "costs"),
    ("Round", STAFF, "costs"),
    ("UnservedVisit", STAFF, "reason extra_cost"),
    ("Lock", STAFF, "reason"),
    ("SitePair", STAFF, "note"),
    ("Evidence", STAFF, "no_date_reason"),
    ("SheetStop", STAFF, "access_notes lock_reason"),
    ("SheetTask", STAFF, "reason"),
    # scheduling: work that was done
    ("ServiceRecord", EVERYONE, "id site visit reference done_at done_by minutes work parts readings photos"),
    ("ServiceRecord", EVERYONE, "confirmed_by confirmed_at received_at"),
    ("ServiceRecord", EVERYONE, "corrects corrected_by"),
    ("ServiceRecord", STAFF, "leftover note voided_at voided_by void_reason"),
    ("Done", EVERYONE, "action unit position item serial_or_lot removal"),
    ("Done", STAFF, "needs note"),
    ("Taken", EVERYONE, "item quantity"),
    ("Taken", STAFF, "from_van from_store uncounted"),
    ("Photo", EVERYONE, "id record kind media_type size width height digest caption received_at"),
    ("ReadingPhoto", EVERYONE, "id reading media_type size width height digest caption received_at"),
)


def sees(membership: Membership | None, kinds: Iterable[str], field: str) -> bool:
    """Say whether the membership reads a field; of several kinds, the first with a row for the field decides.

    Somebody who acts for no company, as when they sign in, reads what everybody does.
    """
    role = membership.role if membership is not None else Role.CLIENT
    for kind in kinds:
        if (kind, field) in READERS:
            return role in READERS[kind, field]
    return role != Role.CLIENT


def narrowed_to(kinds: Iterable[str], field: str) -> Roles | None:
    """Give the roles that read a field which others who read the same kind do not; None when all of them do."""
    kinds = tuple(kinds)
    roles = next((READERS[kind, field] for kind in kinds if (kind, field) in READERS), None)
    if roles is None or roles == EVERYONE:
        return None
    clients_read_some = any(kind in kinds and Role.CLIENT in readers for (kind, _), readers in READERS.items())
    return roles if clients_read_some or roles != STAFF else None
