"""A server that has read its code does not look through it again for garbage."""

import gc
import subprocess
import sys

from celery import signals

from fleet.config.celery import collect_garbage_less_often

PROGRAM = "import gc; import fleet.config.wsgi; print(gc.get_threshold()[0], gc.get_freeze_count() > 100_000)"


def test_a_server_process_keeps_what_stands_at_its_start():
    answer = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, timeout=120, check=True)
    assert answer.stdout.split() == ["20000", "True"]


def test_so_does_each_process_of_a_worker():
    heard_by = [receiver() for _, receiver in signals.worker_process_init.receivers]
    assert collect_garbage_less_often in heard_by
    before = gc.get_threshold()
    try:
        gc.set_threshold(700)
        collect_garbage_less_often()
        assert gc.get_threshold()[0] == 20_000
        assert gc.get_freeze_count() > 100_000
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)
