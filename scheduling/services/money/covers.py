"""Which warranty or contract makes something free: warranties before contracts, the one that lasts longest first."""

from collections.abc import Collection, Sequence
from datetime import date

from accounts.models import Company
from scheduling.models import ServiceContract, Warranty
from scheduling.services.words import money as words


class Covers:
    """Warranties and contracts of a company, read in two queries."""

    def __init__(self, company: Company) -> None:
        """Read them."""
        self.warranties = list(Warranty.objects.of_company(company).order_by("-ends_on", "pk"))
        self.contracts = list(ServiceContract.objects.of_company(company).order_by("-starts_on", "pk"))

    def part(self, *, client: int, unit: int | None, item: int, day: date) -> str:
        """Why pieces of an item used at a unit are free; empty where they are not.

        Parameters
        ----------
        client, unit, item
            Ids; unit None: it served the visit as a whole, and only a contract for all that is the client's or a
            warranty of the item covers it.
        day
            Day of the work.
        """
        for warranty in self.warranties:
            is_of_unit = warranty.unit_id is None or warranty.unit_id == unit
            if is_of_unit and warranty.item_id in (None, item) and warranty.covers_parts and warranty.holds_on(day):
                return words.under_warranty(warranty.ends_on)
        return self._by_contract("covers_parts", client, unit, day)

    def labour(self, *, client: int, unit: int | None, day: date) -> str:
        """Why work at a unit is free; empty where it is not."""
        return self._of_unit("covers_labour", client, unit, day)

    def travel(self, *, client: int, units: Collection[int], day: date) -> str:
        """Why coming is free: because each of the units is covered; empty where one is not."""
        of_all: Sequence[int | None] = list(units) or [None]
        reasons = [self._of_unit("covers_travel", client, unit, day) for unit in of_all]
        return reasons[0] if all(reasons) else ""

    def _of_unit(self, what: str, client: int, unit: int | None, day: date) -> str:
        for warranty in self.warranties:
            is_of_unit = unit is not None and warranty.unit_id == unit and warranty.item_id is None
            if is_of_unit and getattr(warranty, what) and warranty.holds_on(day):
                return words.under_warranty(warranty.ends_on)
        return self._by_contract(what, client, unit, day)

    def _by_contract(self, what: str, client: int, unit: int | None, day: date) -> str:
        for contract in self.contracts:
            is_theirs = contract.client_id == client and contract.unit_id in (None, unit)
            if is_theirs and getattr(contract, what) and contract.holds_on(day):
                return words.under_contract(contract.name)
        return ""
