"""The lock on an output folder ends with its run."""

import os
import sys

import pytest

from lightplan.errors import BadInput
from lightplan.shots.sets.journal import Journal


@pytest.mark.skipif(sys.platform == "win32", reason="the lock is POSIX's")
def test_a_run_that_has_ended_holds_nothing_though_a_forked_process_still_has_its_file(tmp_path):
    with Journal(tmp_path) as journal:
        copy = os.dup(journal._file.fileno())  # as fork gives it to a process being started
        with pytest.raises(BadInput, match="used by one run at a time"):
            Journal(tmp_path)
    try:
        with Journal(tmp_path):  # refused while the copy was open, before the lock was let go
            pass
    finally:
        os.close(copy)
