"""How often passwords may be tried: each failure makes the next try wait longer, and the right person still gets in.

Counted are tries for one person from one place, and, from places where that person has never signed in, all tries from
the place and all tries for the person. So a stranger slows down themselves; where strangers come from many places at
once, the person goes on signing in from where they did before, or makes a place known by a link of a letter. A try is
counted before the password is looked at, so that many at once gain nothing, and is taken back when it was right. The
counts are rows of the database: all processes share them, and nothing that is sent can push them out.
"""

import ipaddress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from accounts.errors import TooManyTries
from accounts.models import KnownPlace, TryCount


@dataclass(frozen=True, slots=True)
class Brake:
    """How tries of one kind are slowed; the numbers are common practice, no source.

    Attributes
    ----------
    name
        Of what is counted.
    free
        Tries without a wait.
    longest_wait
        After `free` tries the wait is a minute, and twice as long after each further one, up to this.
    forgotten_after
        How long it must be quiet for the count to begin anew.
    """

    name: str
    free: int
    longest_wait: timedelta
    forgotten_after: timedelta


FIRST_WAIT: Final = timedelta(minutes=1)
PERSON_HERE: Final = Brake("person here", 10, timedelta(hours=1), timedelta(hours=24))
PLACE: Final = Brake("place", 60, timedelta(minutes=15), timedelta(hours=1))
PERSON: Final = Brake("person", 100, timedelta(minutes=15), timedelta(hours=24))
ASKING: Final = Brake("asking for letters", 20, timedelta(minutes=15), timedelta(hours=1))
#: A place is known for so long after the last sign-in there.
KNOWN_FOR: Final = timedelta(days=90)
COUNTED_FOR: Final = max(brake.forgotten_after for brake in (PERSON_HERE, PLACE, PERSON, ASKING))


def take_try(*, person: str, place: str, now: datetime) -> list[str]:
    """Count one try of a password, and give the keys under which it was counted.

    Call it outside of the transaction of what follows: a count must stay although that fails.

    Parameters
    ----------
    person
        E-mail address, as it was typed; known or not.
    place
        Network address the try comes from.

    Raises
    ------
    TooManyTries
        Then nothing was counted, and no password may be looked at.
    """
    pair = _pair(person, place)
    is_known = KnownPlace.objects.filter(key=pair, last_at__gt=now - KNOWN_FOR).exists()
    counted = [(PERSON_HERE, pair)]
    if not is_known:
        counted += [(PLACE, _key(PLACE.name, network_of(place))), (PERSON, _key(PERSON.name, _normal(person)))]
    with transaction.atomic():
        for brake, key in counted:
            _count(brake, key, now)
    return [key for _, key in counted]


@transaction.atomic
def give_back(*, keys: list[str], person: str, place: str, now: datetime) -> None:
    """Take a try back that was right: it counts for nothing, and the place is known from now on."""
    TryCount.objects.filter(key__in=keys, tries__gt=0).update(tries=F("tries") - 1, closed_until=None)
    know_place(person=person, place=place, now=now)


@transaction.atomic
def take_back(*, keys: list[str]) -> None:
    """Take a try back that was right so far, where a code is still to come: the place is no more known than before."""
    TryCount.objects.filter(key__in=keys, tries__gt=0).update(tries=F("tries") - 1)


def know_place(*, person: str, place: str, now: datetime) -> None:
    """Note that a person was here: they signed in, or followed the link of a letter to them."""
    pair = _pair(person, place)
    TryCount.objects.filter(key=pair).delete()
    KnownPlace.objects.update_or_create(key=pair, defaults={"last_at": now})


def take_asking(*, place: str, now: datetime) -> None:
    """Count that a letter was asked for from a place. TooManyTries where that was too often."""
    with transaction.atomic():
        _count(ASKING, _key(ASKING.name, network_of(place)), now)


def forget_tries(*, now: datetime) -> int:
    """Delete counts that would begin anew, and places that are known no more; say how many counts."""
    deleted, _ = TryCount.objects.filter(last_at__lt=now - COUNTED_FOR).delete()
    KnownPlace.objects.filter(last_at__lt=now - KNOWN_FOR).delete()
    return deleted


def network_of(place: str) -> str:
    """What one caller has at hand: an address, or of IPv6 the network that a connection is given.

    >>> network_of("203.0.113.9"), network_of("2001:db8:0:7:1:2:3:4"), network_of("::ffff:203.0.113.9")
    ('203.0.113.9', '2001:db8:0:7::/64', '203.0.113.9')
    """
    try:
        address = ipaddress.ip_address(place.strip())
    except ValueError:
        return place
    if isinstance(address, ipaddress.IPv4Address):
        return str(address)
    if address.ipv4_mapped is not None:
        return str(address.ipv4_mapped)
    return str(ipaddress.ip_network((address, 64), strict=False))


def _count(brake: Brake, key: str, now: datetime) -> None:
    TryCount.objects.get_or_create(key=key, defaults={"last_at": now})
    row = TryCount.objects.select_for_update().get(key=key)
    if row.closed_until is not None and row.closed_until > now:
        raise TooManyTries((row.closed_until - now).total_seconds())
    if row.last_at < now - brake.forgotten_after:
        row.tries = 0
    row.tries += 1
    row.last_at = now
    over = row.tries - brake.free
    # Beyond twenty doublings any wait is the longest.
    row.closed_until = now + min(FIRST_WAIT * 2 ** min(over, 20), brake.longest_wait) if over >= 0 else None
    row.save(update_fields=["tries", "last_at", "closed_until"])


def _pair(person: str, place: str) -> str:
    return _key(PERSON_HERE.name, _normal(person), network_of(place))


def _normal(person: str) -> str:
    return person.strip().lower()


def _key(*parts: str) -> str:
    """A digest from which nobody reads who tried, or where."""
    return salted_hmac("accounts.brakes", "\n".join(parts), algorithm="sha256").hexdigest()
