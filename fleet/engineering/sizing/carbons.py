"""Which carbon suits a supply: chloramine passes ordinary carbon too fast, catalytic carbon takes it out."""

from collections.abc import Sequence

from fleet.engineering.sizing.offer import Item


def carbons_for_supply(carbons: Sequence[Item], *, is_chloraminated: bool) -> list[Item]:
    """Return the carbon that suits a supply: where it carries chloramine, catalytic carbon alone.

    Parameters
    ----------
    carbons : sequence of Item
        Carbon cartridges.
    is_chloraminated : bool
        Whether the supplier adds chloramine.

    Returns
    -------
    list of Item
        Empty where chloramine asks for catalytic carbon and there is none.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> stock = [Item("B", "", "carbon", 11.8, carbon_kind="block"), Item("C", "", "carbon", 19.5,
    ...     carbon_kind="catalytic")]
    >>> [[item.code for item in carbons_for_supply(stock, is_chloraminated=yes)] for yes in (False, True)]
    [['B', 'C'], ['C']]
    """
    return [item for item in carbons if not is_chloraminated or item.carbon_kind == "catalytic"]
