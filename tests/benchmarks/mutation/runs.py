"""Runs of the tests on a copy of the project, each in a process of its own that has the heavy libraries loaded already.

The copy is made once, compiled once, and has one file changed at a time; the checkout is only read.
"""

import compileall
import importlib
import importlib.util
import math
import os
import resource
import shutil
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

LOADED_BEFORE: Final = (
    "numpy.random", "scipy.stats", "scipy.optimize", "scipy.integrate", "pint", "pyvrp", "pytest", "_pytest.doctest",
)  # fmt: skip
"""Libraries that most runs need: loaded once, so that a run starts in a fraction of the time."""

OPTIONS: Final = (
    "-x", "-q", "--tb=line", "--no-header", "--noconftest", "--disable-warnings",
    "-o", "addopts=--import-mode=importlib --doctest-modules -p no:cacheprovider",
)  # fmt: skip
"""Options of a run: the pure rooms are tested without Django, its plugin and the fixtures that need it."""

LEFT_OUT: Final = shutil.ignore_patterns("__pycache__", ".git", ".venv", ".data", ".demo", ".*_cache", ".hypothesis")
FOLDERS_OF_OURS: Final = ("accounts", "fleet", "scheduling", "tests")


@dataclass(frozen=True)
class Run:
    """How a run of tests ended: the runner's exit code (None when it was stopped for taking too long), and the seconds
    of a processor that it took, which other work on the machine does not change much."""

    exit_code: int | None
    cpu_seconds: float
    output: str

    @property
    def passed(self) -> bool:
        """Whether every test passed."""
        return self.exit_code == 0


class Copy:
    """A copy of the project in a temporary folder."""

    def __init__(self, root: Path, place: Path) -> None:
        place.mkdir(exist_ok=True)
        self.root = place / "project"
        shutil.copytree(root, self.root, ignore=LEFT_OUT)
        compileall.compile_dir(self.root, quiet=2)
        self._output = place / "output.txt"

    @contextmanager
    def changed(self, path: str, code: str) -> Iterator[None]:
        """The copy with another text in one file, for as long as the block lasts."""
        file = self.root / path
        source = file.read_text()
        # Compiled code is told from its source by whole seconds and size: two changes in one second may look alike.
        Path(importlib.util.cache_from_source(str(file))).unlink(missing_ok=True)
        file.write_text(code)
        sys.dont_write_bytecode = True
        try:
            yield
        finally:
            file.write_text(source)
            sys.dont_write_bytecode = False

    def run(self, tests: Sequence[str], limit_cpu_seconds: float) -> Run:
        """Run tests up to the first failure; one that waits without computing is stopped after ten times the limit."""
        until = time.monotonic() + 10.0 * limit_cpu_seconds
        child = os.fork()
        if not child:
            self._run_here(tests, math.ceil(limit_cpu_seconds))
        is_stopped = False
        while True:
            done, status, used = os.wait4(child, os.WNOHANG)
            if done:
                exit_code = os.waitstatus_to_exitcode(status)
                is_stopped |= exit_code == -signal.SIGXCPU
                return Run(
                    None if is_stopped else exit_code,
                    used.ru_utime + used.ru_stime,
                    self._output.read_text(errors="replace"),
                )
            if not is_stopped and time.monotonic() > until:
                is_stopped = True
                os.killpg(child, signal.SIGKILL)
            time.sleep(0.02)

    def _run_here(self, tests: Sequence[str], limit_cpu_seconds: int) -> None:
        """In the child: become a runner in the copy, and end."""
        exit_code = 99
        try:
            os.setpgid(0, 0)
            resource.setrlimit(resource.RLIMIT_CPU, (limit_cpu_seconds, limit_cpu_seconds + 5))
            out = os.open(self._output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(out, 1)
            os.dup2(out, 2)
            os.chdir(self.root)
            for name in [name for name in sys.modules if name.split(".")[0] in FOLDERS_OF_OURS]:
                del sys.modules[name]
            sys.path[:] = [str(self.root), *(path for path in sys.path if path and not _is_project(Path(path)))]
            importlib.invalidate_caches()
            import pytest

            exit_code = int(pytest.main([*OPTIONS, *tests]))
        finally:
            sys.stdout.flush()
            os._exit(exit_code)


def load_libraries() -> None:
    """Load what most runs need, before the first of them."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    for name in LOADED_BEFORE:
        importlib.import_module(name)
    # The same examples in every run, as in the suite.
    from hypothesis import settings

    settings.register_profile("mutants", deadline=None, derandomize=True, database=None)
    settings.load_profile("mutants")


def _is_project(path: Path) -> bool:
    return (path / "pyproject.toml").exists() and (path / "fleet").exists()
