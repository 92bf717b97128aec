"""What people call a position of the train: names for whoever fits it and for the client, spoken with `gettext`."""

from collections.abc import Mapping
from typing import Final

from accounts.language import gettext_noop

_NAMES: Final[Mapping[tuple[str, str], tuple[str, str]]] = {
    ("sediment", "single"): (gettext_noop("sediment filter"), gettext_noop("sediment filter")),
    ("sediment", "lead"): (gettext_noop("lead sediment filter"), gettext_noop("first sediment filter")),
    ("sediment", "lag"): (gettext_noop("lag sediment filter"), gettext_noop("second sediment filter")),
    ("carbon", "single"): (gettext_noop("carbon"), gettext_noop("carbon filter")),
    ("carbon", "lead"): (gettext_noop("lead carbon"), gettext_noop("first carbon filter")),
    ("carbon", "lag"): (gettext_noop("lag carbon"), gettext_noop("second carbon filter")),
    ("membrane", "single"): (gettext_noop("membrane"), gettext_noop("membrane")),
    ("membrane", "lead"): (gettext_noop("lead membrane"), gettext_noop("first membrane")),
    ("membrane", "lag"): (gettext_noop("lag membrane"), gettext_noop("second membrane")),
    ("resin", "single"): (gettext_noop("resin"), gettext_noop("resin cartridge")),
    ("resin", "lead"): (gettext_noop("lead resin"), gettext_noop("first resin cartridge")),
    ("resin", "lag"): (gettext_noop("lag resin"), gettext_noop("second resin cartridge")),
    ("post_carbon", "single"): (gettext_noop("post-carbon"), gettext_noop("taste filter")),
    ("post_carbon", "lead"): (gettext_noop("lead post-carbon"), gettext_noop("first taste filter")),
    ("post_carbon", "lag"): (gettext_noop("lag post-carbon"), gettext_noop("second taste filter")),
    ("remineralisation", "single"): (gettext_noop("remineralising cartridge"), gettext_noop("mineral cartridge")),
    ("remineralisation", "lead"): (
        gettext_noop("lead remineralising cartridge"),
        gettext_noop("first mineral cartridge"),
    ),
    ("remineralisation", "lag"): (
        gettext_noop("lag remineralising cartridge"),
        gettext_noop("second mineral cartridge"),
    ),
    ("uv", "single"): (gettext_noop("UV lamp"), gettext_noop("UV lamp")),
    ("uv", "lead"): (gettext_noop("lead UV lamp"), gettext_noop("first UV lamp")),
    ("uv", "lag"): (gettext_noop("lag UV lamp"), gettext_noop("second UV lamp")),
}


def position_name(stage: str, role: str) -> str:
    """Return what a practitioner calls a position, in English, to be translated where it is told.

    Raises
    ------
    KeyError
        A stage or role that is not known.

    Examples
    --------
    >>> position_name("resin", "lead"), position_name("sediment", "single")
    ('lead resin', 'sediment filter')
    """
    return _NAMES[stage, role][0]


def position_name_for_client(stage: str, role: str) -> str:
    """Return what a client calls a position, in English, to be translated where it is told.

    Raises
    ------
    KeyError
        A stage or role that is not known.

    Examples
    --------
    >>> position_name_for_client("resin", "lead"), position_name_for_client("carbon", "single")
    ('first resin cartridge', 'carbon filter')
    """
    return _NAMES[stage, role][1]
