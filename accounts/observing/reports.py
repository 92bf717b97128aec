"""Faults that nobody foresaw, reported to an address of the settings that understands the protocol of Sentry.

A report says which fault, where in the code, at which route and under which name the log has the request. What people
are called, what they sent and what a fault quotes of a row stay here: values, bodies, headers, cookies, queries, local
variables and addresses with a secret in them are left out.
"""

from typing import Any, Final
from urllib.parse import urlsplit

from accounts.observing.logs import without_secrets
from accounts.observing.requests import current_request

LEFT_OUT: Final = "left out; the server's log has it"

_OF_A_REQUEST: Final = frozenset({"method", "url"})


def options(dsn: str) -> dict[str, Any]:
    """What the library is started with, so that no report holds what a person or a row is called."""
    return {
        "dsn": dsn,
        "include_local_variables": False,
        "max_request_body_size": "never",
        # Lines of the log and queries of before a fault quote what was sent.
        "max_breadcrumbs": 0,
        "before_send": bare,
        "traces_sample_rate": None,
    }


def bare(report: dict[str, Any], hint: dict[str, Any]) -> dict[str, Any]:
    """A report with nothing of a person in it, and the name of the request."""
    for name in ("user", "breadcrumbs", "extra", "server_name", "modules", "_meta"):
        report.pop(name, None)
    request = {name: value for name, value in (report.get("request") or {}).items() if name in _OF_A_REQUEST}
    if "url" in request:
        request["url"] = without_secrets(urlsplit(request["url"])._replace(query="", fragment="").geturl())
    report["request"] = request
    for fault in (report.get("exception") or {}).get("values") or ():
        fault["value"] = LEFT_OUT
    said = report.get("logentry") or {}
    if said:
        # The form of a line is a sentence of the code; what was filled in is not.
        report["logentry"] = {"message": said.get("message", "") if said.get("params") else LEFT_OUT}
    report.pop("message", None)
    contexts = report.get("contexts") or {}
    report["contexts"] = {name: contexts[name] for name in ("trace", "runtime") if name in contexts}
    report.setdefault("tags", {})["request_id"] = current_request() or "-"
    return report
