"""What breaks under a server, tried with real parts; counts what was acknowledged against what is stored.

    python -m tests.benchmarks.try_faults              all of them, about ten minutes
    python -m tests.benchmarks.try_faults upload disk  some of them

    upload    the web server is killed in mid-upload, and while readings are posted
    night     a worker is killed in each step of a night, and another finishes it
    database  PostgreSQL is stopped hard under load and in mid-night, and started again
    queue     what lies in the queue is lost, and the queue is away, under load
    disk      the disk of the database is full, then has room again (needs the right to mount a file system in memory)
    twice     two clocks, and two nights of one company asked for at once
    clock     the server's clock is set back by an hour in the middle of a day's readings
    writers   thirty writers at once on SQLite

Each prints a row: requests answered as done, their rows stored, rows lost, rows doubled, refused requests by status, jobs
that never ended, and the longest that work waited for somebody to take it up again. A client here does what a good one
does: it repeats what was not answered, with the same idempotency key. Ends with an error where something was lost or
doubled, or where a job did not end.
"""

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import requests

from tests.live.parts import WEB_SERVER, free_port, variables_of_a_server
from tests.live.workers import ROOT
