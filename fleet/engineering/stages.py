"""The stages of a unit whose parts wear out."""

from typing import Final

STAGES: Final = ("sediment", "carbon", "membrane", "resin")
"""In the order of the water."""
