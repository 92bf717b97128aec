"""Fifty who book the same stock at the same moment: every piece is booked once, and none is taken twice."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from accounts.errors import InvalidInput
from accounts.models import Membership
from scheduling.models import StockLevel, StockMovement
from scheduling.services.stock.ledger import differing_totals
from scheduling.services.stock.movements import move_stock
from scheduling.services.stock.stock import count_stock
from tests.scheduling.town import NOW, Town

pytestmark = pytest.mark.django_db(transaction=True)

WRITERS = 50


def test_fifty_writers_book_every_piece_once_and_take_none_that_is_not_there(town: Town, office: Membership) -> None:
    ada, item = town.installer("Ada"), town.item("resin")
    count_stock(by=office, item=item, quantity=10, now=NOW)
    together = Barrier(WRITERS)

    def write(number: int) -> str:
        kind, more = (("scrap", {}), ("transfer", {"to_installer": ada}), ("return", {"to_installer": ada}))[number % 3]
        together.wait(timeout=60)
        try:
            move_stock(by=office, item=item, kind=kind, pieces=1, reason=f"writer {number}", now=NOW, **more)
        except InvalidInput as error:
            return error.faults[0].sentence
        finally:
            connection.close()
        return kind

    with ThreadPoolExecutor(WRITERS) as pool:
        done = Counter(run.result(timeout=120) for run in [pool.submit(write, number) for number in range(WRITERS)])
    # 34 of them want one of the ten pieces in the store, and 16 bring one
    assert done["return"] == 16
    assert done["scrap"] + done["transfer"] == 10
    assert done["pieces of resin-1 in the store: 0, not 1; count them first where there are more."] == 24
    pieces = dict(StockLevel.objects.values_list("installer", "quantity"))
    assert pieces == {None: 0, ada.pk: 16 + done["transfer"]}
    assert StockMovement.objects.count() == 1 + 26
    assert differing_totals(town.company) == {}
