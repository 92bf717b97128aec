"""Where in the train a rule looks."""

from dataclasses import dataclass
from typing import Literal

StageName = Literal["sediment", "carbon", "membrane", "resin", "post_carbon", "remineralisation", "uv"]
RoleName = Literal["single", "lead", "lag"]


@dataclass(frozen=True)
class Place:
    """The position a finding names: the first of these roles that the unit has in this stage."""

    stage: StageName
    roles: tuple[RoleName, ...]
