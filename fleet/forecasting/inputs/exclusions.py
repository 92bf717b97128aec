"""Reading values that were left out, each with its reason."""

from dataclasses import dataclass

from fleet.forecasting.inputs.tables import Codes, Indexes


@dataclass(frozen=True)
class Exclusions:
    """Reading values that were not used: the reading's row, which quantity (index into `vocabulary.QUANTITIES`, -1 for
    the whole reading) and why (index into `vocabulary.EXCLUSION_REASONS`)."""

    reading_index: Indexes
    quantity: Codes
    reason: Codes

    def __len__(self) -> int:
        return len(self.reading_index)
