"""Found first by a Python process that is to believe it is earlier: `CLOCK_BACK_SECONDS` says by how much."""

import os
from datetime import UTC, datetime, timedelta

import time_machine

_seconds = int(os.environ.get("CLOCK_BACK_SECONDS", "0"))
if _seconds:
    time_machine.travel(datetime.now(UTC) - timedelta(seconds=_seconds), tick=True).start()
