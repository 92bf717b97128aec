"""What the trail says in sentences: who did what to which thing, and which values changed."""

from collections.abc import Mapping
from typing import Any, Final

from accounts.language import gettext, gettext_noop
from accounts.models import AuditEntry

_DID: Final = {
    "accept": gettext_noop("{who} accepted something for {what}."),
    "add": gettext_noop("{who} added {what}."),
    "ask": gettext_noop("{who} asked for a call about {what}."),
    "begin": gettext_noop("{who} began {what}."),
    "cancel": gettext_noop("{who} cancelled {what}."),
    "change": gettext_noop("{who} changed {what}."),
    "close": gettext_noop("{who} signed out browsers of {what}."),
    "complete": gettext_noop("{who} completed {what}."),
    "confirm": gettext_noop("{who} confirmed {what}."),
    "correct": gettext_noop("{who} corrected {what}."),
    "count": gettext_noop("{who} counted {what}."),
    "create": gettext_noop("{who} added {what}."),
    "decide": gettext_noop("{who} decided on {what}."),
    "decline": gettext_noop("{who} declined something for {what}."),
    "delete": gettext_noop("{who} deleted {what}."),
    "depart": gettext_noop("{who} departed for {what}."),
    "disable": gettext_noop("The server switched {what} off: it took nothing any more."),
    "draft": gettext_noop("{who} drafted {what}."),
    "drop": gettext_noop("{who} dropped {what}."),
    "edit": gettext_noop("{who} changed {what}."),
    "end": gettext_noop("{who} ended {what}."),
    "enter": gettext_noop("{who} entered {what}."),
    "erase": gettext_noop("{who} erased who {what} was."),
    "expect": gettext_noop("{who} noted when {what} is expected."),
    "follow": gettext_noop("{who} brought {what} up to the parts list."),
    "found": gettext_noop("{who} founded {what}."),
    "invite": gettext_noop("{who} invited {what}."),
    "issue": gettext_noop("{who} issued {what}."),
    "join": gettext_noop("{who} accepted an invitation and joined as {what}."),
    "load": gettext_noop("{who} loaded some of {what}."),
    "lock": gettext_noop("{who} locked {what}."),
    "move": gettext_noop("{who} moved {what}."),
    "note": gettext_noop("{who} noted something of {what}."),
    "offer": gettext_noop("{who} offered {what}."),
    "open": gettext_noop("{who} opened {what}."),
    "pair": gettext_noop("{who} paired {what}."),
    "pass": gettext_noop("{who} passed {what} on to another client."),
    "place": gettext_noop("{who} placed {what}."),
    "plan": gettext_noop("{who} planned {what}."),
    "post": gettext_noop("{who} posted {what}."),
    "propose": gettext_noop("{who} proposed {what}."),
    "publish": gettext_noop("{who} published {what}."),
    "receive": gettext_noop("{who} received {what}."),
    "record": gettext_noop("{who} recorded {what}."),
    "refuse": gettext_noop("Somebody tried to sign in as {name} and was refused."),
    "remember": gettext_noop("{who} noted something of {what}."),
    "remove": gettext_noop("{who} removed {what}."),
    "rename": gettext_noop("{who} renamed {what}."),
    "replan": gettext_noop("{who} planned {what} again."),
    "report": gettext_noop("{who} reported on {what}."),
    "revoke": gettext_noop("{who} revoked {what}."),
    "reset": gettext_noop("{who} chose {what} anew, by a link."),
    "retire": gettext_noop("{who} retired {what}."),
    "send": gettext_noop("{who} sent {what}."),
    "return": gettext_noop("{who} returned something of {what}."),
    "rotate": gettext_noop("{who} rotated {what}."),
    "scrap": gettext_noop("{who} scrapped some of {what}."),
    "sign": gettext_noop("{who} signed in."),
    "take": gettext_noop("{who} took a stop out of {what}."),
    "transfer": gettext_noop("{who} transferred some of {what}."),
    "try": gettext_noop("{who} tried {what}."),
    "unconfirm": gettext_noop("{who} took back the confirmation of {what}."),
    "unlock": gettext_noop("{who} unlocked {what}."),
    "unretire": gettext_noop("{who} took {what} back into use."),
    "update": gettext_noop("{who} changed {what}."),
    "void": gettext_noop("{who} voided {what}."),
    "want": gettext_noop("{who} wants to sign in with another address."),
    "withdraw": gettext_noop("{who} withdrew {what}."),
}
"""By the verb with which an action begins."""

_KINDS: Final = {
    "accesstoken": gettext_noop("the access token {name}"),
    "absence": gettext_noop("the absence of {name}"),
    "calendarfeed": gettext_noop("the {name}"),
    "catalogueitem": gettext_noop("the catalogue item {name}"),
    "client": gettext_noop("the client {name}"),
    "company": gettext_noop("the company {name}"),
    "companypolicy": gettext_noop("the policy"),
    "exhaustionlimits": gettext_noop("the limits of {name}"),
    "feedwatersample": gettext_noop("the feed water sample {name}"),
    "finding": gettext_noop("the finding {name}"),
    "installer": gettext_noop("the installer {name}"),
    "instrument": gettext_noop("the instrument {name}"),
    "intakebatch": gettext_noop("the list or file {name}"),
    "invitation": gettext_noop("the person with the address {name}"),
    "invoice": gettext_noop("the invoice {name}"),
    "membership": gettext_noop("the member {name}"),
    "need": gettext_noop("the need {name}"),
    "partsrule": gettext_noop("the parts rule {name}"),
    "placement": gettext_noop("the placement of {name}"),
    "plan": gettext_noop("the {name}"),
    "position": gettext_noop("the position {name}"),
    "purchaseorder": gettext_noop("the {name}"),
    "reading": gettext_noop("the reading {name}"),
    "salesprice": gettext_noop("the sales price {name}"),
    "servicecontract": gettext_noop("the contract {name}"),
    "servicerecord": gettext_noop("the report of work {name}"),
    "site": gettext_noop("the site {name}"),
    "stocklevel": gettext_noop("the stock of {name}"),
    "supplier": gettext_noop("the supplier {name}"),
    "unit": gettext_noop("the unit {name}"),
    "user": gettext_noop("the password of {name}"),
    "vatrate": gettext_noop("the rate of tax {name}"),
    "visit": gettext_noop("the {name}"),
    "warranty": gettext_noop("the warranty of {name}"),
    "webhookdelivery": gettext_noop("the event {name}"),
    "webhookendpoint": gettext_noop("the webhook endpoint {name}"),
}
"""By the kind of the subject."""

_MEASURES: Final = (
    ("_mg_per_l", "mg/L"),
    ("_eq_per_l", "eq/L"),
    ("_l_per_day", "L/day"),
    ("_kpa", "kPa"),
    ("_degc", "degC"),
    ("_um", "um"),
    ("_l", "L"),
    ("_g", "g"),
)
"""Units in which columns keep their values, by how their names end, the longer first."""


def sentence_of(entry: AuditEntry) -> str:
    """Say what an entry of the trail tells."""
    member = entry.membership
    who = (member.name or member.user.email) if member is not None else gettext("Somebody")
    name = entry.subject_name or entry.subject_id
    what = gettext(_KINDS.get(entry.subject_kind, "{name}")).format(name=name)
    did = _DID.get(entry.action.partition(" ")[0], gettext_noop("{who}: {action}, {what}."))
    happened = gettext(did).format(who=who, what=what, name=name, action=entry.action)
    changes = entry.details.get("changes")
    parts = [_change(field, change) for field, change in changes.items()] if isinstance(changes, dict) else []
    corrected = entry.details.get("changed")
    parts += [
        _change(field, {"old": pair[0], "new": pair[1]})
        for field, pair in (corrected.items() if isinstance(corrected, dict) else ())
        if isinstance(pair, list) and len(pair) == 2
    ]
    if reason := entry.details.get("reason"):
        parts.append(gettext("Reason: {reason}").format(reason=reason))
    return " ".join([happened, *parts])


def _change(field: str, change: Any) -> str:
    if not isinstance(change, Mapping):
        return gettext("{field} is now {new}.").format(field=_field(field), new=_value(change))
    return gettext("{field}: {new}, before {old}.").format(
        field=_field(field), new=_value(change.get("new")), old=_value(change.get("old"))
    )


def _field(name: str) -> str:
    """A column as people read it: 'Weekly demand [L]'."""
    for ending, measure in _MEASURES:
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ').capitalize()} [{measure}]"
    return name.replace("_", " ").capitalize()


def _value(value: Any) -> str:
    if value is None or value == "":
        return gettext("none")
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, float):
        return f"{value:g}"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
