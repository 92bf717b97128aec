"""The second wall between companies: PostgreSQL itself shows a connection the rows of one company, and no others.

The first wall is `visible_to`; where somebody forgets it, this one holds. It stands where the server connects as a role
that does not own the tables (`manage.py application_role`). Policies on the tables, made by migrations
(`accounts.wall_policies`), then compare each row with the company that the connection was told; a connection that was
told none is refused with an error, so that nothing is silently missing. Whoever connects as the owner of the tables has
no second wall, nor has SQLite; the same code runs there.

Code says here for whom it works, and the connection follows before its next statement (`fleet.config.postgresql`):

- `enter_company` for the rest of a request, once it is known who asks (`accounts.http`); a request begins with none.
- `inside_company` for a block: a task, a piece of a job, a command.
- `over_all_companies` is the door: a block that must see every company, because it is not known yet which one it is
  about, or because it is about a person who may belong to several. `tests/test_wall.py` lists who uses it.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from django.http import HttpRequest
from django.http.response import HttpResponseBase

#: The setting of a connection that the policies read: a company's id, `ALL`, or nothing.
SETTING: Final = "wall.company"
ALL: Final = "all"
NOBODY: Final = ""

_in_sight: ContextVar[str] = ContextVar("company in sight", default=NOBODY)


def in_sight() -> str:
    """What connections are to show: a company's id as text, `ALL` or `NOBODY`."""
    return _in_sight.get()


def enter_company(company_id: int) -> None:
    """Work for one company from here on, until the request or block around it ends."""
    _in_sight.set(str(int(company_id)))


@contextmanager
def inside_company(company_id: int) -> Iterator[None]:
    """Work for one company in a block, whatever is around it."""
    token = _in_sight.set(str(int(company_id)))
    try:
        yield
    finally:
        _in_sight.reset(token)


@contextmanager
def over_all_companies() -> Iterator[None]:
    """See every company in a block, or in a function that is decorated with it.

    Rows must be fetched before the block ends: a queryset that is evaluated later shows one company again.
    """
    token = _in_sight.set(ALL)
    try:
        yield
    finally:
        _in_sight.reset(token)


@contextmanager
def in_sight_of_nobody() -> Iterator[None]:
    """Begin a block without a company, whatever is around it."""
    token = _in_sight.set(NOBODY)
    try:
        yield
    finally:
        _in_sight.reset(token)


class WallMiddleware:
    """Lets each request begin without a company, whatever the one before it worked for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        with in_sight_of_nobody():
            return self.get_response(request)
