"""The base of the few views that are no rows of a tenant: signing in, and pages of explanation."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from rest_framework.request import Request
from rest_framework.views import APIView

from accounts.http.faults import RequestFault, RequestInvalid
from accounts.http.parsers import StrictJSONParser
from accounts.http.throttles import tell_budget

# Each names all parameters there are: a short question must not have an answer of any length.
_MOST_FAULTS: Final = 20


class PublicView(APIView):
    """Open to everybody, and strict about query parameters."""

    authentication_classes: Sequence[Any] = ()
    permission_classes: Sequence[Any] = ()
    # Whatever the settings say: a form of another site could post anything but JSON in a visitor's name.
    parser_classes = [StrictJSONParser]
    http_method_names = ["get", "head", "post", "delete"]

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Say what is left of the budget of the address that asks."""
        answered = super().finalize_response(request, response, *args, **kwargs)
        tell_budget(request, answered)
        return answered

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        check_query_parameters(request, {})


def check_query_parameters(request: Request, accepted: Mapping[str, bool]) -> None:
    """Refuse query parameters that nothing reads, that are empty, or that stand twice where one is read.

    `accepted` says of each whether it repeats. A misspelt filter would answer with every row, and a repeated one
    with those of its last value.
    """
    faults: list[RequestFault] = []
    names = ", ".join(sorted(accepted)) or "none"
    for name, values in request.query_params.lists():
        if len(faults) == _MOST_FAULTS:
            break
        if name not in accepted:
            sentence = f"There is no query parameter '{name[:80]}' here; there are: {names}."
        elif len(values) > 1 and not accepted[name]:
            sentence = f"{name} appears {len(values)} times: give it once."
        elif not all(values):
            sentence = f"{name} is empty: give it a value, or leave it out."
        else:
            continue
        faults.append(RequestFault("parameter", name, sentence))
    if faults:
        raise RequestInvalid(faults)
