"""The one table of who may do what: (resource, action) -> roles.

A resource is the name a viewset declares, such as "unit"; an action is what is done to it. The ordinary actions are
"list", "retrieve", "create", "update" and "destroy"; a viewset's own actions go by their own names. What is not in the
table is forbidden, and a viewset with an action that is not in the table does not start.

The table says what a role may do; which rows it may do it to is the matter of `visible_to` in `accounts.tenancy`.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from accounts.errors import NotAllowed
from accounts.models import Membership

if TYPE_CHECKING:
    Roles = frozenset["Role"]

Role = Membership.Role
Action = str

OWNER: Final = frozenset({Role.OWNER})
OFFICE: Final = frozenset({Role.OWNER, Role.OFFICE})
STAFF: Final = frozenset({Role.OWNER, Role.OFFICE, Role.INSTALLER})
EVERYONE: Final = frozenset(Role)

READ: Final = ("list", "retrieve")
WRITE: Final = ("create", "update", "destroy")
RETIRE: Final = ("retire", "unretire")


def _table(*rows: "tuple[str, Iterable[Action], Roles]") -> "Mapping[tuple[str, Action], Roles]":
    """Spread rows over their actions, refusing a pair that is named twice."""
    table: dict[tuple[str, Action], Roles] = {}
    for resource, actions, roles in rows:
        for action in actions:
            if (resource, action) in table:
                raise ValueError(f"{resource} {action} appears in the table twice.")
            table[resource, action] = roles
    return table


ALLOWED: "Final[Mapping[tuple[str, Action], Roles]]" = _table(
    # accounts
    ("me", ("retrieve", "change_password", "change_email", "end_all"), EVERYONE),
    ("me", ("authenticate", "begin_second_factor", "confirm_second_factor"), EVERYONE),
    ("me", ("renew_recovery_codes", "remove_second_factor"), EVERYONE),
    ("me", ("update",), OFFICE),
    ("session", ("destroy",), EVERYONE),
    ("company", ("retrieve",), EVERYONE),
    ("company", ("update",), OWNER),
    ("member", READ, OFFICE),
    ("member", ("update", "end", "reset_second_factor"), OWNER),
    ("invitation", READ, OFFICE),
    ("invitation", ("create", "withdraw"), OWNER),
    ("client", READ, STAFF),
    ("client", WRITE, OFFICE),
    ("client", RETIRE, OFFICE),
    ("token", READ, EVERYONE),
    ("token", ("create", "destroy"), EVERYONE),
    ("browser_session", (*READ, "destroy"), EVERYONE),
    ("audit_entry", READ, OWNER),
    ("webhook_endpoint", (*READ, *WRITE, "rotate_secret", "test"), OWNER),
    ("webhook_delivery", (*READ, "replay"), OWNER),
    ("search", ("list_found",), STAFF),
    ("calendar_feed", (*READ, "create", "destroy"), EVERYONE),
    # fleet
    ("site", (*READ, "forecast"), EVERYONE),
    ("site", WRITE, OFFICE),
    ("site", RETIRE, OFFICE),
    ("site", ("upload_public_records",), STAFF),
    ("unit", READ, EVERYONE),
    ("unit", WRITE, OFFICE),
    ("unit", RETIRE, OFFICE),
    ("unit", ("status", "forecast", "add_reading", "list_findings"), EVERYONE),
    ("unit", ("check_commissioning",), STAFF),
    ("position", READ, EVERYONE),
    ("position", WRITE, OFFICE),
    ("instrument", READ, EVERYONE),
    ("instrument", WRITE, STAFF),
    ("instrument", RETIRE, STAFF),
    ("catalogue_item", READ, STAFF),
    ("catalogue_item", WRITE, OFFICE),
    ("catalogue_item", RETIRE, OFFICE),
    ("parts_rule", READ, STAFF),
    ("parts_rule", WRITE, OFFICE),
    ("supplier", READ, OFFICE),
    ("supplier", WRITE, OFFICE),
    ("placement", READ, EVERYONE),
    ("placement", ("create", "remove", "rotate", "correct", "void", "swap"), STAFF),
    ("feed_water_sample", READ, EVERYONE),
    ("feed_water_sample", ("create", "upload", "void"), STAFF),
    ("reading", READ, EVERYONE),
    ("reading", ("create",), EVERYONE),
    ("reading", ("upload", "correct", "void"), STAFF),
    ("intake_batch", (*READ, "csv"), STAFF),
    ("refused_row", ("list",), STAFF),
    ("finding", READ, EVERYONE),
    ("finding", ("confirm", "dismiss"), STAFF),
    ("diagnosis", ("create",), STAFF),
    ("sizing", ("create",), STAFF),
    ("forecast", (*READ, "change"), EVERYONE),
    ("forecast", ("run",), OFFICE),
    ("forecast_score", (*READ, "create"), OFFICE),
    ("exhaustion_limits", READ, STAFF),
    ("exhaustion_limits", WRITE, OWNER),
    ("job", READ, STAFF),
    ("job", ("stop",), OFFICE),
    # scheduling
    ("policy", ("retrieve", "preview", "frontier"), OFFICE),
    ("policy", ("update",), OWNER),
    ("travel", ("retrieve",), OFFICE),
    ("attention", ("retrieve", "list_matters"), OFFICE),
    ("import", ("create",), OFFICE),
    ("installer", (*READ, "calendar"), STAFF),
    ("installer", WRITE, OFFICE),
    ("installer", RETIRE, OFFICE),
    ("absence", READ, STAFF),
    ("absence", WRITE, OFFICE),
    ("site_pair", READ, STAFF),
    ("site_pair", ("create", "destroy"), OFFICE),
    ("need", READ, STAFF),
    ("need", ("create", "drop"), OFFICE),
    ("wanted_reading", READ, STAFF),
    ("visit", READ, EVERYONE),
    ("visit", ("offer", "confirm", "unconfirm", "propose", "unlock"), OFFICE),
    ("visit", ("cancel",), OFFICE | {Role.CLIENT}),
    ("visit", ("accept_additions", "decline_additions"), OFFICE),
    ("visit", ("accept", "decline", "ask_for_call"), EVERYONE),
    ("visit", ("depart", "begin", "complete", "not_done"), STAFF),
    ("plan", (*READ, "map"), STAFF),
    ("plan", ("create", "publish", "offer", "replan", "write_parts_lists"), OFFICE),
    ("round", (*READ, "gpx", "day_sheet", "my_day", "van_load", "confirm_load"), STAFF),
    ("stop", READ, STAFF),
    ("stop", ("lock", "preview_move", "move"), OFFICE),
    ("message", READ, EVERYONE),
    ("message", ("called",), OFFICE),
    ("service_record", READ, EVERYONE),
    ("service_record", ("create", "add_photo", "correct", "void"), STAFF),
    ("service_photo", (*READ, "image"), EVERYONE),
    ("reading_photo", (*READ, "image", "create"), EVERYONE),
    ("client_data", ("retrieve",), OWNER | frozenset({Role.CLIENT})),
    ("client_data", ("erase",), OWNER),
    ("parts_list", READ, STAFF),
    ("purchase_order", (*READ, "list_late", "csv", "text", "pdf"), OFFICE),
    ("purchase_order", ("create", "update", "draft", "place", "send", "expect", "receive", "cancel"), OFFICE),
    ("purchase_order", ("void_delivery",), OFFICE),
    ("cost", ("report",), OFFICE),
    ("vat_rate", (*READ, *WRITE), OFFICE),
    ("sales_price", (*READ, *WRITE), OFFICE),
    ("service_contract", (*READ, *WRITE), OFFICE),
    ("warranty", (*READ, *WRITE), OFFICE),
    ("invoice", (*READ, "pdf"), OFFICE | frozenset({Role.CLIENT})),
    ("invoice", ("create", "cancel", "csv", "list_proposed", "proposed_csv", "proposed_pdf"), OFFICE),
    ("stock_level", READ, STAFF),
    ("stock_level", ("create", "update"), STAFF),
    ("stock_level", ("destroy", "list_by_item"), OFFICE),
    ("stock_outlook", (*READ, "list_wanted_at"), OFFICE),
    ("stock_movement", (*READ, "create"), STAFF),
    ("stock_movement", ("void",), OFFICE),
)

# A logging meter posts readings of its own unit and does nothing else, whatever its owner may do.
METER_ALLOWED: Final = frozenset({("reading", "create"), ("unit", "add_reading")})


# What a token with scopes may do of what its member's role may. Every action has one scope; what is in none of the
# tables below is 'office', which a client's or an installer's token needs for whatever else their role may do.
_SHOWS: Final = (
    *("list", "retrieve", "forecast", "status", "list_findings", "change", "calendar", "map", "gpx", "day_sheet"),
    *("my_day", "van_load", "list_late", "csv", "text", "pdf", "report", "list_proposed", "proposed_csv"),
    *("proposed_pdf", "list_by_item", "list_wanted_at", "list_matters", "image", "list_found"),
)
"""Actions that change nothing, whatever the resource."""
_STORES_NOTHING: Final = frozenset(
    {("diagnosis", "create"), ("sizing", "create"), ("unit", "check_commissioning"), ("stop", "preview_move")}
)
_READINGS: Final = frozenset(
    {
        *(("reading", action) for action in ("create", "upload", "correct", "void")),
        ("reading_photo", "create"),
        *(("feed_water_sample", action) for action in ("create", "upload", "void")),
        ("unit", "add_reading"),
        ("site", "upload_public_records"),
    }
)
_WORK: Final = frozenset(
    {
        *(("placement", action) for action in ("create", "remove", "rotate", "correct", "void", "swap")),
        *(("instrument", action) for action in (*WRITE, *RETIRE)),
        *(("finding", action) for action in ("confirm", "dismiss")),
        *(("visit", action) for action in ("depart", "begin", "complete", "not_done")),
        *(("service_record", action) for action in ("create", "add_photo", "correct", "void")),
        *(("stock_level", action) for action in ("create", "update")),
        ("stock_movement", "create"),
        ("round", "confirm_load"),
    }
)
# What opens doors is a person's to do, never a program's: a token with scopes may do none of it.
_PERSONAL: Final = frozenset(
    {
        *(("me", action) for action in ("update", "change_password", "change_email", "end_all", "authenticate")),
        *(("me", action) for action in ("begin_second_factor", "confirm_second_factor")),
        *(("me", action) for action in ("renew_recovery_codes", "remove_second_factor")),
        *(("token", action) for action in ("create", "destroy")),
        *(("calendar_feed", action) for action in ("create", "destroy")),
        *(("member", action) for action in ("update", "end", "reset_second_factor")),
        *(("invitation", action) for action in ("create", "withdraw")),
        ("browser_session", "destroy"),
        ("company", "update"),
        *(("client_data", action) for action in ("retrieve", "erase")),
        *(("webhook_endpoint", action) for action in (*WRITE, "rotate_secret")),
    }
)
# What a session or token that was left lying about must not do: the person proves again who they are.
RECENT: Final = frozenset(
    {
        ("token", "create"),
        *(("member", action) for action in ("update", "end", "reset_second_factor")),
        ("invitation", "create"),
        *(("client_data", action) for action in ("retrieve", "erase")),
        *(("webhook_endpoint", action) for action in ("create", "update", "rotate_secret")),
        *(("me", action) for action in ("begin_second_factor", "renew_recovery_codes", "remove_second_factor")),
    }
)
RECENT_FOR: Final = timedelta(minutes=15)
# What is left to a member whose company wants a code and who signed in without one: to set up what makes the codes.
WITHOUT_SECOND_FACTOR: Final = frozenset(
    {
        *(("me", action) for action in ("retrieve", "authenticate", "begin_second_factor", "confirm_second_factor")),
        *(("me", action) for action in ("change_password", "end_all")),
        ("session", "destroy"),
    }
)
# Whoever holds a token may end it.
_ANY: Final = frozenset({("session", "destroy")})


def scope_of(resource: str, action: Action) -> str | None:
    """Give the scope that a token needs for an action; None where no token with scopes may do it."""
    if (resource, action) in _PERSONAL:
        return None
    if action in _SHOWS or (resource, action) in _STORES_NOTHING:
        return "read"
    if (resource, action) in _READINGS:
        return "readings"
    return "work" if (resource, action) in _WORK else "office"


def _in_scope(membership: Membership, resource: str, action: Action) -> bool:
    if membership.scopes is None or (resource, action) in _ANY:
        return True
    return scope_of(resource, action) in membership.scopes


def allows(membership: Membership | None, resource: str, action: Action) -> bool:
    """Say whether this membership, in its role, as it signed in, by its token's scopes or as a meter, may do something.

    Whether it signed in lately enough is another question: `check_proof`.
    """
    if membership is None or not membership.is_active:
        return False
    if membership.meter_unit_id is not None and (resource, action) not in METER_ALLOWED:
        return False
    if not _in_scope(membership, resource, action):
        return False
    if membership.lacks_second_factor and (resource, action) not in WITHOUT_SECOND_FACTOR:
        return False
    return membership.role in ALLOWED.get((resource, action), frozenset())


def is_recent(membership: Membership, now: datetime) -> bool:
    """Say whether the person behind a request proved who they are a short while ago, in the same session or token."""
    return membership.authenticated_at is not None and now - membership.authenticated_at <= RECENT_FOR


def check_proof(membership: Membership, resource: str, action: Action, now: datetime) -> None:
    """Refuse what the member may do, but not as they signed in: without a code, or too long ago.

    Raises NotAllowed with the code `second_factor_required` or `recent_authentication_required`, and what to do.
    """
    if membership.lacks_second_factor and (resource, action) not in WITHOUT_SECOND_FACTOR:
        what_to_do = (
            "Set up what makes the codes (POST /api/v1/me/second-factor/, then /api/v1/me/second-factor/confirm/), or, "
            "if you have it already, give a code (POST /api/v1/me/authentication/)."
            if membership.scopes is None
            else "Sign in with a code and make another token in place of this one."
        )
        raise NotAllowed(
            "second_factor_required",
            f"{membership.company.name} wants the role '{membership.role}' to sign in with a code. {what_to_do}",
        )
    if (resource, action) in RECENT:
        check_recent(membership, now)


def check_recent(membership: Membership, now: datetime) -> None:
    """Refuse whoever proved who they are too long ago, with NotAllowed `recent_authentication_required`."""
    if not is_recent(membership, now):
        minutes = RECENT_FOR.total_seconds() / 60
        raise NotAllowed(
            "recent_authentication_required",
            f"This asks for your password, or a code, of the last {minutes:.0f} minutes: give it again "
            "(POST /api/v1/me/authentication/), then repeat what you wanted.",
        )


def roles_for(resource: str, action: Action) -> "Roles":
    """Give the roles that may do the action; empty when nobody may."""
    return ALLOWED.get((resource, action), frozenset())
