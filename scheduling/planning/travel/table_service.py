"""Trips from a table service over HTTP, with the built-in model standing in, and saying so, where it has no answer.

The service speaks the open ``table`` request: ``GET {base_url}/{lon},{lat};...`` with ``sources``,
``destinations`` and ``annotations=duration,distance``; it answers ``code: "Ok"`` with ``durations`` in seconds and
``distances`` in metres, row by row, null where there is no road.
"""

from __future__ import annotations

import json
import math
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel.trips import GreatCircleTravel, Place, Travel, TravelProvider
from scheduling.planning.words import travel as words

#: Latitude and longitude to five decimals: about a metre.
Spot = tuple[float, float]

_LARGEST_ANSWER_BYTES = 64 * 1024 * 1024


class TableServiceError(Exception):
    """The service did not answer, or not with a table; the message says what it did."""


class TripCache:
    """Trips already asked for, the longest unused forgotten first.

    Parameters
    ----------
    capacity
        How many trips are kept; each takes some 300 bytes.
    """

    def __init__(self, capacity: int = 500_000) -> None:
        if capacity < 1:
            raise PlanningError("capacity", f"must be at least 1, not {capacity}.")
        self._capacity = capacity
        # plans of several companies may be made at once
        self._lock = threading.Lock()
        self._trips: OrderedDict[tuple[str, Spot, Spot], tuple[int, int]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._trips)

    def get(self, key: tuple[str, Spot, Spot]) -> tuple[int, int] | None:
        """Metres and seconds of a trip, if known."""
        with self._lock:
            trip = self._trips.get(key)
            if trip is not None:
                self._trips.move_to_end(key)
            return trip

    def put(self, key: tuple[str, Spot, Spot], trip: tuple[int, int]) -> None:
        """Keep a trip."""
        with self._lock:
            self._trips[key] = trip
            self._trips.move_to_end(key)
            while len(self._trips) > self._capacity:
                self._trips.popitem(last=False)


@dataclass(frozen=True)
class TableServiceTravel:
    """A travel provider that asks a table service.

    Attributes
    ----------
    base_url
        Address of its table for vans, to which the places are added; http or https.
    timeout_s
        How long one request may take.
    attempts
        How often a request is tried before the built-in model stands in; refusals are not tried again.
    places_per_request
        The service's limit on places in one request.
    parking_s, parking_beyond_m
        Added to trips longer than that: a service counts from road to road, not from door to door.
    fallback
        Stands in for trips without an answer.
    cache
        Shared between calls, and between providers of the same service.
    sleep
        Waits between attempts.
    """

    base_url: str
    timeout_s: float = 5.0
    attempts: int = 3
    places_per_request: int = 100
    parking_s: int = 90
    parking_beyond_m: int = 30
    fallback: TravelProvider = field(default_factory=GreatCircleTravel)
    cache: TripCache = field(default_factory=TripCache)
    sleep: Callable[[float], None] = time.sleep

    def __post_init__(self) -> None:
        parts = urllib.parse.urlsplit(self.base_url)
        if parts.scheme not in ("http", "https") or not parts.netloc:
            raise PlanningError("base_url", f"must be an http or https address, not {self.base_url!r}.")
        if not self.timeout_s > 0.0:
            raise PlanningError("timeout_s", f"must be above 0 seconds, not {self.timeout_s!r}.")
        if self.attempts < 1:
            raise PlanningError("attempts", f"must be at least 1, not {self.attempts!r}.")
        if self.places_per_request < 2:
            raise PlanningError("places_per_request", f"must be at least 2, not {self.places_per_request!r}.")

    def matrix(self, origins: Sequence[Place], destinations: Sequence[Place]) -> Travel:
        """Metres and seconds from every origin to every destination; ``source`` counts what the model stood in for."""
        spots_from, spots_to = [_spot(p) for p in origins], [_spot(p) for p in destinations]
        metres = np.zeros((len(origins), len(destinations)), dtype=np.int64)
        seconds = np.zeros_like(metres)
        missing, trouble = self._ask_for_unknown(spots_from, spots_to)
        stood_in = 0
        model = self.fallback.matrix(origins, destinations) if missing else None
        for i, a in enumerate(spots_from):
            for j, b in enumerate(spots_to):
                if a == b:
                    continue
                trip = None if (a, b) in missing else self.cache.get((self._name, a, b))
                if trip is not None:
                    metres[i, j], seconds[i, j] = trip
                elif model is not None:
                    metres[i, j], seconds[i, j] = model.metres[i, j], model.seconds[i, j]
                    stood_in += 1
        return Travel(metres, seconds, self._source(stood_in, metres.size, trouble, model))

    @property
    def _name(self) -> str:
        return self.base_url.rstrip("/")

    def _source(self, stood_in: int, total: int, trouble: str, model: Travel | None) -> str:
        host = urllib.parse.urlsplit(self.base_url).netloc.rpartition("@")[2]
        if not stood_in or model is None:
            return words.table_service(host)
        return words.table_service_in_part(host, stood_in, total, model.source, trouble)

    def _ask_for_unknown(
        self, origins: Sequence[Spot], destinations: Sequence[Spot]
    ) -> tuple[set[tuple[Spot, Spot]], str]:
        """Fill the cache; what could not be had, and why."""
        missing: set[tuple[Spot, Spot]] = set()
        trouble = ""
        half = self.places_per_request // 2
        unknown: dict[Spot, set[Spot]] = {}
        for a in dict.fromkeys(origins):
            lacks = {b for b in destinations if a != b and self.cache.get((self._name, a, b)) is None}
            if lacks:
                unknown[a] = lacks
        for rows in _blocks(list(unknown), half):
            columns = sorted(set().union(*(unknown[a] for a in rows)))
            for part in _blocks(columns, half):
                missing_pairs = {(a, b) for a in rows for b in part if b in unknown[a]}
                if not missing_pairs:
                    continue
                if trouble:
                    # it has failed as often as it may: the rest is not held up by asking again
                    missing |= missing_pairs
                    continue
                try:
                    table = self._request(rows, part)
                except TableServiceError as error:
                    trouble = str(error)
                    missing |= missing_pairs
                    continue
                for pair in missing_pairs:
                    trip = table[pair]
                    if trip is None:
                        missing.add(pair)
                    else:
                        self.cache.put((self._name, *pair), trip)
        return missing, trouble

    def _request(
        self, origins: Sequence[Spot], destinations: Sequence[Spot]
    ) -> dict[tuple[Spot, Spot], tuple[int, int] | None]:
        spots = [*origins, *destinations]
        n = len(origins)
        path = ";".join(f"{lon:.5f},{lat:.5f}" for lat, lon in spots)
        query = (
            f"sources={';'.join(map(str, range(n)))}&destinations={';'.join(map(str, range(n, len(spots))))}"
            "&annotations=duration,distance"
        )
        answer = self._get(f"{self._name}/{path}?{query}")
        shape = (n, len(destinations))
        durations = _table(answer, "durations", shape)
        distances = _table(answer, "distances", shape) if "distances" in answer else None
        is_known = ~np.isnan(durations)
        if distances is not None:
            is_known &= ~np.isnan(distances)
        else:
            # a service without distances: the length of the straight road, driven in the time it says
            model = self.fallback.matrix([Place(*s) for s in origins], [Place(*s) for s in destinations])
            distances = model.metres.astype(np.float64)
        trips: dict[tuple[Spot, Spot], tuple[int, int] | None] = {}
        for i, a in enumerate(origins):
            for j, b in enumerate(destinations):
                if not is_known[i, j]:
                    trips[a, b] = None
                    continue
                metres = round(float(distances[i, j]))
                parking = self.parking_s if metres > self.parking_beyond_m else 0
                trips[a, b] = (metres, round(float(durations[i, j])) + parking)
        return trips

    def _get(self, url: str) -> dict[str, object]:
        """The service's answer, tried again when it was out of reach or overloaded."""
        trouble = ""
        for attempt in range(self.attempts):
            if attempt:
                self.sleep(0.2 * 2.0 ** (attempt - 1))
            request = urllib.request.Request(url, headers={"Accept": "application/json"})
            try:
                with urllib.request.urlopen(request, timeout=self.timeout_s) as response:
                    return _parse(response.read(_LARGEST_ANSWER_BYTES + 1))
            except urllib.error.HTTPError as error:
                with error:
                    body = error.read(4_096)
                trouble = words.answered(error.code, _problem_text(body))
                if error.code < 500 and error.code != 429:
                    break
            except (urllib.error.URLError, TimeoutError, OSError) as error:
                reason = getattr(error, "reason", error)
                trouble = words.timed_out() if isinstance(reason, TimeoutError) else words.out_of_reach(str(reason))
            except ValueError as error:
                trouble = words.no_table(str(error))
                break
        raise TableServiceError(trouble)


def _spot(place: Place) -> Spot:
    return round(place.latitude_deg, 5), round(place.longitude_deg, 5)


def _blocks(items: Sequence[Spot], size: int) -> Iterator[Sequence[Spot]]:
    for start in range(0, len(items), size):
        yield items[start : start + size]


def _parse(body: bytes) -> dict[str, object]:
    if len(body) > _LARGEST_ANSWER_BYTES:
        raise ValueError("it is too long")
    answer = json.loads(body)
    if not isinstance(answer, dict) or answer.get("code") != "Ok":
        code = answer.get("code") if isinstance(answer, dict) else None
        raise ValueError(f"its code is {code!r}")
    return answer


def _table(answer: dict[str, object], name: str, shape: tuple[int, int]) -> np.ndarray:
    """A table of the answer with NaN for null."""
    rows = answer.get(name)
    try:
        table = np.array(
            [[math.nan if x is None else x for x in row] for row in rows],  # type: ignore[attr-defined]
            dtype=np.float64,
        )
    except (TypeError, ValueError):
        raise TableServiceError(words.no_table(f"{name} is not one of numbers")) from None
    if table.shape != shape:
        raise TableServiceError(words.no_table(f"{name} is {table.shape}, not {shape}"))
    if np.any(table < 0.0) or np.any(np.isinf(table)):
        raise TableServiceError(words.no_table(f"{name} holds a negative or endless trip"))
    return table


def _problem_text(body: bytes) -> str:
    """The service's own words on a refusal, if it has any."""
    try:
        answer = json.loads(body)
    except ValueError:
        return ""
    if isinstance(answer, dict) and isinstance(answer.get("code"), str):
        return str(answer["code"][:80])
    return ""
