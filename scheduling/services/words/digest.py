"""What the morning letter says."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from accounts.dates import long_day
from accounts.language import gettext, ngettext
from accounts.models import Company
from accounts.services.links import address_of
from scheduling.services.people.words import Text

if TYPE_CHECKING:
    from scheduling.services.matters import Kind, Matter

#: Matters of one kind that are written out; the rest is counted. Common practice, no source: one screen of a phone.
_MOST_WRITTEN: Final = 5
#: The page that shows all of them.
ATTENTION: Final = "attention/"


def digest_text(company: Company, kinds: "Sequence[Kind]", day: date) -> Text:
    """The letter of one morning: every kind that has a matter, the dearest to leave first."""
    count = sum(len(kind.matters) for kind in kinds)
    if count == 0:
        subject = gettext("{day}: nothing needs attention").format(day=long_day(day))
        return Text(subject, _ended(company, [gettext("Nothing needs attention this morning.")]))
    words = ngettext("{day}: {count} matter needs attention", "{day}: {count} matters need attention", count)
    paragraphs = [paragraph for kind in kinds if kind.matters for paragraph in _of_kind(kind)]
    return Text(words.format(day=long_day(day), count=count), _ended(company, paragraphs))


def _of_kind(kind: "Kind") -> list[str]:
    heading = gettext("{title} ({count})").format(title=kind.title, count=len(kind.matters))
    lines = [_line(matter) for matter in kind.matters[:_MOST_WRITTEN]]
    left = len(kind.matters) - len(lines)
    if left:
        lines.append("  " + ngettext("and {count} more", "and {count} more", left).format(count=left))
    return ["\n".join([heading, *lines])]


def _line(matter: "Matter") -> str:
    first, *others = matter.reasons
    lines = [f"- {first.sentence}", *(f"  {reason.sentence}" for reason in others)]
    if matter.client is not None:
        called = gettext("{client}, {phone}") if matter.client.phone else "{client}"
        lines.append("  " + called.format(client=matter.client.name, phone=matter.client.phone))
    # what settles several reasons is said once
    deeds = dict.fromkeys(reason.settle.words for reason in matter.reasons)
    lines += ["  " + gettext("To do: {words}").format(words=deed) for deed in deeds]
    return "\n".join(lines)


def _ended(company: Company, paragraphs: Sequence[str]) -> str:
    end = gettext(
        "You get this letter each morning from {company}. "
        "To get it no more, set gets_digest to false under /api/v1/me/."
    )
    where = gettext("All of it, with what settles it: {page}").format(page=address_of(ATTENTION))
    return "\n\n".join([*paragraphs, where, end.format(company=company.name)])
