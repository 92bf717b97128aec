"""What a page shows beside a matter to settle it: the call that the interface names, as a form or as a way there."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django.http import Http404
from django.urls import Resolver404, resolve

from accounts.language import gettext, gettext_noop

_ROOT: Final = "/api/v1/"


@dataclass(frozen=True, slots=True)
class Call:
    """A call of the interface, as a page makes it: which viewset does what to which row."""

    viewset: Any
    action: str
    pk: str | None


@dataclass(frozen=True, slots=True)
class Control:
    """What settles a matter.

    Attributes
    ----------
    kind
        What has to be filled in: "button" nothing, "note" a remark, "finding" a remark and one of two decisions,
        "window" one of the times offered, "time" a day and hour, "address" an e-mail address, "link" it is done on
        another page.
    button
        What the button, or the link, says.
    words
        What it does, in a sentence.
    path, method, known
        The call, and what of its body is known already, as JSON.
    address
        Of the page, for a link.
    choices
        Of "window": pairs of value and words.
    """

    kind: str
    button: str
    words: str
    path: str
    method: str
    known: str = "{}"
    address: str = ""
    choices: tuple[tuple[str, str], ...] = field(default=())


# What the address of a call looks like -> what has to be filled in, and what the button says; the first that fits.
_CONTROLS: Final[tuple[tuple[str, str, str], ...]] = (
    (r"findings/\d+/confirm/", "finding", gettext_noop("It is true")),
    (r"visits/\d+/accept/", "window", gettext_noop("Note this time")),
    (r"visits/\d+/confirm/", "time", gettext_noop("Note this time")),
    (r"visits/\d+/unlock/", "note", gettext_noop("Take the lock off")),
    (r"visits/propose/", "button", gettext_noop("Bundle it into a visit")),
    (r"messages/\d+/called/", "note", gettext_noop("I have called")),
    (r"units/(\d+)/readings/", "link", gettext_noop("Enter a reading")),
    (r"purchase-orders/draft/", "button", gettext_noop("Draft the orders")),
    (r"purchase-orders/(\d+)/expect/", "link", gettext_noop("Note a new day")),
    (r"purchase-orders/\d+/send/", "button", gettext_noop("Send it again")),
    (r"plans/\d+/offer/", "button", gettext_noop("Offer the times")),
    (r"plans/\d+/replan/", "button", gettext_noop("Repair the plan")),
    (r"plans/", "button", gettext_noop("Plan the rounds")),
    (r"suppliers/\d+/", "address", gettext_noop("Keep this address")),
    (r"stock-movements/", "button", gettext_noop("Scrap them")),
)
# What a call has done, for whoever pressed its button; the first that fits its address.
_DONE: Final[tuple[tuple[str, str], ...]] = (
    (r"findings/\d+/confirm/", gettext_noop("Noted: it is true.")),
    (r"findings/\d+/dismiss/", gettext_noop("Noted: it is not true.")),
    (r"visits/\d+/(accept|confirm)/", gettext_noop("The time is noted.")),
    (r"visits/\d+/unlock/", gettext_noop("The lock is off. Plan again, so that the visit finds its place.")),
    (r"visits/propose/", gettext_noop("It is bundled into a visit.")),
    (r"messages/\d+/called/", gettext_noop("Noted: somebody has called.")),
    (r"purchase-orders/draft/", gettext_noop("The orders are drafted.")),
    (r"purchase-orders/\d+/send/", gettext_noop("The order goes out again.")),
    (r"plans/\d+/offer/", gettext_noop("The times are offered.")),
    (r"suppliers/\d+/", gettext_noop("The address is kept.")),
    (r"stock-movements/", gettext_noop("They are scrapped.")),
)
_WAYS: Final[Mapping[str, str]] = {
    "units": "/units/{pk}/#read",
    "purchase-orders": "/orders/{pk}/",
}


def control_for(settle: Mapping[str, Any], choices: tuple[tuple[str, str], ...] = ()) -> Control:
    """Say what a page shows for a call that settles a matter.

    Parameters
    ----------
    settle
        The call as the interface tells it: words, method, path and body.
    choices
        Of a visit, the windows that were offered.
    """
    path = str(settle["path"]).removeprefix(_ROOT)
    for pattern, kind, button in _CONTROLS:
        match = re.fullmatch(pattern, path)
        if match is None:
            continue
        address = _WAYS[path.split("/")[0]].format(pk=match[1]) if kind == "link" else ""
        # nothing to choose from: the time is written instead
        shown = "button" if kind == "window" and not choices else kind
        return _control(settle, shown, gettext(button), address, choices)
    return _control(settle, "button", str(settle["words"]), "", ())


def done_words(path: str) -> str:
    """What a call that settles a matter has done, once it was made."""
    place = path.removeprefix(_ROOT)
    done = next((words for pattern, words in _DONE if re.fullmatch(pattern, place)), None)
    return gettext(done) if done is not None else gettext("Done.")


def draft_control(plan: int) -> Control:
    """The way to a draft in which the matter stands already."""
    return Control(
        kind="link",
        button=gettext("Look at the draft"),
        words=gettext("It stands in the draft: publish that, then offer the times."),
        path="",
        method="",
        address=f"/week/?plan={plan}",
    )


def _control(
    settle: Mapping[str, Any], kind: str, button: str, address: str, choices: tuple[tuple[str, str], ...]
) -> Control:
    return Control(
        kind=kind,
        button=button,
        words=str(settle["words"]),
        path=str(settle["path"]),
        method=str(settle["method"]),
        known=json.dumps(settle.get("body") or {}),
        address=address,
        choices=choices,
    )


def call_of(path: str, method: str) -> Call:
    """Find who answers an address of the interface.

    Raises
    ------
    Http404
        When the interface has no such address, or takes no such call there.
    """
    try:
        match = resolve(path)
    except Resolver404:
        raise Http404 from None
    action = getattr(match.func, "actions", {}).get(method.lower())
    if not path.startswith(_ROOT) or action is None:
        raise Http404
    return Call(match.func.cls, action, match.kwargs.get("pk"))  # type: ignore[attr-defined]


def body_of(form: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """The body of a call: what was known, and what was filled in under these names."""
    try:
        known = json.loads(form.get("known") or "{}")
    except ValueError:
        known = {}
    filled = {name: str(form[name]).strip() for name in names if str(form.get(name, "")).strip()}
    return {**(known if isinstance(known, dict) else {}), **filled}
