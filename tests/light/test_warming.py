"""What is compiled beside the light when it is first worked out."""

import json
import subprocess
import sys

import pytest

from lightplan.light import warming

COMPILED = """
import json
from lightplan import compiled
found = {}
for one in compiled._ORIGIN.values():
    name = f"{one._function.__module__}.{one._function.__qualname__}"
    found[name] = sorted(map(str, one.machine_code.signatures))
print(json.dumps(found))
"""
LIGHT = """
from lightplan.light import Detail
from lightplan.tasks.predict import predict
predict("gold-card-above", detail=Detail(camera_rows=12, camera_cols=16))
"""
WARM = "from lightplan.light.warming import warm; warm()"


def compiled_by(code):
    """Return the signatures of each loop that some code had compiled, or found kept."""
    command = [sys.executable, "-c", code + COMPILED]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return json.loads(ran.stdout.splitlines()[-1])


def test_what_is_compiled_beside_is_what_light_asks_for():
    asked, beside = compiled_by(LIGHT), compiled_by(WARM)  # the other finds kept what it asks for
    called = {name: forms for name, forms in beside.items() if forms}
    assert len(called) > 12
    for name, forms in called.items():
        assert set(forms) <= set(asked.get(name, ())), name


@pytest.mark.parametrize(("cores", "kept", "begun"), [(2, "here", 1), (1, "here", 0), (2, "", 0)])
def test_a_second_process_is_begun_where_it_serves(monkeypatch, cores, kept, begun):
    asked = []

    class Child:
        def __init__(self, command, **_):
            asked.append(command)

        def wait(self):
            return 0

    monkeypatch.setattr(warming, "usable_cores", lambda: cores)
    monkeypatch.setenv("NUMBA_CACHE_DIR", kept)
    monkeypatch.setattr(subprocess, "Popen", Child)
    warming.warm_beside()
    assert len(asked) == begun
