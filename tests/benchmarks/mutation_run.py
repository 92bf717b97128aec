"""How many planted faults do the tests notice? Changes one line at a time in a copy of the project and runs the tests.

    python -m tests.benchmarks.mutation_run --rooms forecasting/wear planning diagnosis --sample 200 --seed 1
    python -m tests.benchmarks.mutation_run --rooms planning --only scheduling/planning/stock --sample 50 --seed 2

Needs `pip install -e .[test,mutation]`. `--sample` mutants are drawn from each room by `--seed`; a run ends after
`--minutes` even if mutants are left, and says so. Each mutant meets the tests that the table in `mutation/rooms.py`
names, up to the first failure; one that computes ten times as long as the unchanged code counts as noticed. Printed are
each survivor with its place and its change, and the score of each room: the share of mutants noticed. The checkout is
only read.
"""

import argparse
import multiprocessing
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.mutation.mutants import Change, Mutant, change_between, is_another_program, mutants_of, sample_of
from tests.benchmarks.mutation.rooms import ROOMS, Room
from tests.benchmarks.mutation.runs import Copy, load_libraries

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Tried:
    """A mutant that met the tests, with its change and whether they noticed it."""

    mutant: Mutant
    change: Change
    noticed: bool

    def line(self) -> str:
        """Place and change, as one line."""
        return f"{self.mutant.path}:{self.mutant.line}  {self.change.before}  ->  {self.change.after}"


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line, plant, run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", nargs="+", choices=sorted(ROOMS), default=list(ROOMS))
    parser.add_argument("--sample", type=int, default=200, help="mutants drawn from each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0, help="the run ends after so many")
    parser.add_argument("--processes", type=int, default=1, help="mutants tried at a time")
    parser.add_argument("--only", nargs="+", default=[""], help="files or folders, as beginnings of their paths")
    chosen = parser.parse_args(arguments)
    load_libraries()
    until = time.monotonic() + 60.0 * chosen.minutes
    with tempfile.TemporaryDirectory(prefix="mutants-") as place:
        copies = [Copy(ROOT, Path(place) / str(number)) for number in range(chosen.processes)]
        for name in chosen.rooms:
            room = ROOMS[name]
            modules = [path for path in room.modules(ROOT) if path.startswith(tuple(chosen.only))]
            mutants = [mutant for path in modules for mutant in mutants_of(ROOT, path)]
            sample = sample_of(mutants, chosen.sample, chosen.seed)
            print(f"{name}: {len(sample)} of {len(mutants)} mutants, seed {chosen.seed}", flush=True)
            if sample:
                _print_score(name, list(_try_all(copies, room, sample, until)), len(sample))


def _try_all(copies: Sequence[Copy], room: Room, sample: Sequence[Mutant], until: float) -> Iterator[Tried]:
    """Try each mutant in one of the copies, until the time is over."""
    seconds = _seconds_without_change(copies[0], room, sample)
    shares = [sample[number :: len(copies)] for number in range(len(copies))]
    with ProcessPoolExecutor(len(copies), mp_context=multiprocessing.get_context("fork")) as processes:
        for tried in processes.map(
            _try, copies, [room] * len(copies), shares, [until] * len(copies), [seconds] * len(copies)
        ):
            yield from tried


def _seconds_without_change(copy: Copy, room: Room, sample: Sequence[Mutant]) -> dict[str, float]:
    """Test file -> what it takes; all of them pass."""
    seconds = {}
    for file in dict.fromkeys(file for mutant in sample for file in room.tests_of(copy.root, mutant.path).files):
        run = copy.run([file], 900.0)
        if not run.passed:
            raise SystemExit(f"{file} fails without any change:\n{run.output}")
        seconds[file] = run.cpu_seconds
    return seconds


def _try(copy: Copy, room: Room, sample: Sequence[Mutant], until: float, seconds: Mapping[str, float]) -> list[Tried]:
    """Try mutants one after another, until the time is over; those that nobody notices are printed."""
    out = []
    for mutant in sample:
        if time.monotonic() > until:
            break
        source = (copy.root / mutant.path).read_text()
        code = mutant.code(source)
        if not is_another_program(source, code):
            continue
        with copy.changed(mutant.path, code):
            noticed = any(
                not copy.run(files, 10.0 * sum(seconds.get(file, 0.0) for file in files) + 10.0).passed
                for files in room.tests_of(copy.root, mutant.path).runs(seconds)
            )
        out.append(Tried(mutant, change_between(source, code), noticed))
        if not noticed:
            print(f"  survived {out[-1].line()}", flush=True)
    return out


def _print_score(name: str, tried: Sequence[Tried], drawn: int) -> None:
    noticed = sum(one.noticed for one in tried)
    share = f"{noticed / len(tried):.0%}" if tried else "-"
    print(
        f"{name}: {noticed} of {len(tried)} noticed, {share}; {drawn - len(tried)} of the sample not tried", flush=True
    )


if __name__ == "__main__":
    main()
