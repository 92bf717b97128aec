"""Loaded into a worker that is going to be killed: the real forecasts, held up at a chosen point of each chunk.

`GATE` names a folder. It holds a file for each chunk that is to be held up, named by the chunk's number and holding the
name of the point; the worker answers by a file `<number>.reached` and goes no further. The points are

`begun`    the chunk is claimed, nothing is computed
`writing`  the forecasts are written in a transaction that is still open
`written`  the forecasts are stored, but nobody has been told that the chunk is done

A file `follow_up` holds up what follows a change, before anything is looked at. A file `nightly` holds up the nightly
run; it holds what the run says it is doing at that point. A file `blocks` holds up a block of its units: the first one,
or each until two workers have one, where it says `meet`.

A chunk is held up once: whoever comes after a killed process finds the gate open.
"""

import os
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from django.db import transaction

# The rooms' own registrations come first, so that these replace them.
import fleet.tasks
import scheduling.tasks  # noqa: F401
from accounts.jobs import claims
from accounts.jobs.models import JobChunk
from accounts.jobs.queue import NIGHT
from fleet.services.follow_up import follow
from fleet.services.forecasts import forecasts
from scheduling.services import nightly as nightly_run


def hold_up(folder: Path, name: int | str) -> NoReturn:
    note = folder / f"{name}.note"
    note.write_text(str(os.getpid()))
    note.rename(folder / f"{name}.reached")
    while True:
        time.sleep(60)


def gated(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do a chunk of a forecast, as far as the gate lets it."""
    folder = Path(os.environ["GATE"])
    number = JobChunk.objects.get(job_id=work.job_id, payload=work.payload).index
    sign = folder / str(number)
    if not sign.exists() or (folder / f"{number}.reached").exists():
        return forecasts.forecast_chunk(work)
    point = sign.read_text()
    if point == "begun":
        hold_up(folder, number)
    if point == "writing":
        # Its lock would keep the others from getting as far as their own points.
        others = [other for other in folder.iterdir() if not other.suffix and other != sign]
        while not all(other.with_suffix(".reached").exists() for other in others):
            time.sleep(0.05)
        with transaction.atomic():
            forecasts.forecast_chunk(work)
            hold_up(folder, number)
    result = forecasts.forecast_chunk(work)
    assert point == "written", f"there is no point '{point}'"
    assert result
    hold_up(folder, number)


def gated_nightly(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do a part of the nightly run, as far as the gate lets it."""
    folder = Path(os.environ["GATE"])
    sign, blocks = folder / "nightly", folder / "blocks"
    if sign.exists() and not sign.with_suffix(".reached").exists():
        _hold_up_where_it_says(work, sign)
    if blocks.exists() and work.payload["step"] == "units":
        if blocks.read_text() == "meet":
            _meet(folder, work)
        elif not blocks.with_suffix(".reached").exists():
            hold_up(folder, "blocks")
    return nightly_run.nightly_chunk(work)


def _hold_up_where_it_says(work: claims.ChunkRun, sign: Path) -> None:
    point, progress = sign.read_text(), work.progress

    def tell(share: float, doing: str) -> None:
        progress(share, doing)
        if doing == point:
            hold_up(sign.parent, sign.name)

    work.progress = tell  # type: ignore[method-assign]


def _meet(folder: Path, work: claims.ChunkRun) -> None:
    """Note which worker has this block, and go on when two have one."""
    note = folder / f"{work.payload['units'][0]}.note"
    note.write_text(str(os.getppid()))
    note.rename(note.with_suffix(".taken"))
    while len({path.read_text() for path in folder.glob("*.taken")}) < 2:
        time.sleep(0.05)


def gated_follow(**what: Any) -> dict[str, int]:
    """Follow a change, but for the first one where the gate says so."""
    sign = Path(os.environ["GATE"]) / "follow_up"
    if sign.exists() and not sign.with_suffix(".reached").exists():
        hold_up(sign.parent, sign.name)
    return follow(**what)


if "GATE" in os.environ:
    fleet.tasks.follow = gated_follow  # type: ignore[attr-defined]
    claims.register(forecasts.JOB_KIND, gated)
    claims.register(nightly_run.JOB_KIND, gated_nightly, merge=nightly_run.together, queue=NIGHT)
