"""Answers that are dear to work out, kept by this process as long as the rows that they follow from are as they were.

An answer is kept under the versions of its rows (`accounts.row_versions`), which the database is asked for each time:
one that no longer holds is not found again, whoever changed a row and by whatever way. What is kept was worked out from
rows of one moment. Where the database keeps no versions, nothing is kept.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from hashlib import blake2b
from typing import Any, Final, TypeVar

from django.core.cache.backends.locmem import LocMemCache

from accounts.row_versions import Rows, one_moment, versions_of

Answer = TypeVar("Answer")

#: In the process, so that it ends with the code that worked the answers out; the least used go first.
_KEPT: Final = LocMemCache("kept answers", {"TIMEOUT": 86_400, "OPTIONS": {"MAX_ENTRIES": 2_000}})
_NOTHING: Final = object()


class KeptAnswers:
    """The answers that follow from some rows, for one look at them.

    Parameters
    ----------
    about
        What the answers are, with all that they depend on beside the rows: the company, the day.
    rows
        All that they are worked out from.
    """

    def __init__(self, about: tuple[object, ...], rows: Callable[[], Mapping[str, Rows]]) -> None:
        self.about, self._rows = about, rows

    @cached_property
    def _versions(self) -> str | None:
        return versions_of(self._rows())

    def of(
        self, names: Iterable[str], work_out: Callable[[Sequence[str], str | None], Mapping[str, Answer]]
    ) -> dict[str, Answer]:
        """Name to answer, worked out where it is not kept.

        `work_out` gives the answers to some of the names from the database as it is when it is called; it is told the
        versions of the rows then, None where there are none.
        """
        wanted = list(names)
        if self._versions is None:
            return dict(work_out(wanted, None))
        found: dict[str, Any] = {name: _KEPT.get(self._key(self._versions, name), _NOTHING) for name in wanted}
        missing = [name for name, answer in found.items() if answer is _NOTHING]
        if missing:
            with one_moment() as is_one:
                versions = versions_of(self._rows())
                answers = work_out(missing, versions)
                holds = is_one or versions_of(self._rows()) == versions
            if holds:
                for name, answer in answers.items():
                    _KEPT.set(self._key(str(versions), name), answer)
            found |= answers
        return found

    def _key(self, versions: str, name: str) -> str:
        # keys of the cache are short, and hold no blanks
        return blake2b(repr((self.about, versions, name)).encode(), digest_size=20).hexdigest()
