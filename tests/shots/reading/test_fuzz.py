"""A short run of the fuzzer; the long one is started by hand."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).parents[2] / "fuzz_reading.py"


def test_damaged_files_give_a_shot_or_a_refusal(tmp_path):
    run = subprocess.run(
        [sys.executable, str(SCRIPT), "--seconds", "5", "--seed", "11", "--keep", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    report = json.loads(run.stdout)
    assert report["faults"] == []
    assert run.returncode == 0
    assert report["files"] > 100
    kinds = {answer.split()[0] for answer in report["answers"]}
    assert {"jpg", "png", "tif", "dng"} <= kinds
