"""What the system says comes out as one sentence, whatever is wrong; nothing is a traceback."""

import errno
import json
import os
import re
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lightplan.errors import BadInput, LightplanError, NoRoom
from lightplan.faults import CAUGHT, as_told

PROGRAM = (sys.executable, "-m", "lightplan")
PRESET = "silver-bookplate-bright"
ROOT = Path(__file__).parents[2]


def run(*words, env=None, preexec=None, **options):
    """Run the command line as its own process."""
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | options
    return subprocess.run(
        [*PROGRAM, *map(os.fspath, words)],
        env=os.environ | (env or {}),
        preexec_fn=preexec,
        timeout=120,
        check=False,
        **options,
    )


def assert_told(done, code, *words):
    text = done.stderr.decode("utf-8", "replace")
    assert done.returncode == code, text
    assert "Traceback" not in text
    assert text.count("\n") == 1, text
    for word in words:
        assert word in text


@pytest.mark.parametrize(
    ("error", "kind", "says"),
    [
        (PermissionError(errno.EACCES, "Permission denied", "a.png"), BadInput, r"a\.png: file"),
        (OSError(errno.ENAMETOOLONG, "File name too long", "a" * 5000), BadInput, "shorter name"),
        (OSError(errno.ENOSPC, "No space left on device", "out"), NoRoom, "out: The disk"),
        (OSError(errno.EMFILE, "Too many open files"), NoRoom, "close other"),
        (OSError("odd"), BadInput, "got OSError"),
        (MemoryError(), NoRoom, "memory of this machine"),
        (ImportError("_label.so: failed to map segment"), NoRoom, "libraries of this program"),
        (OSError(errno.EACCES, "no", "/a" * 300 + "/tag.png"), BadInput, r"a/tag\.png: file"),
        (RecursionError(), BadInput, "nested a few levels deep"),
        (UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid start byte"), BadInput, "UTF-8"),
    ],
)
def test_each_kind_has_its_sentence(error, kind, says):
    assert isinstance(error, CAUGHT)
    told = as_told(error)
    assert isinstance(told, kind)
    with pytest.raises(LightplanError, match=says):
        raise told
    assert len(str(told)) < 400


@pytest.mark.parametrize("words", [("rigs", "list"), ("rigs", "list", "--json"), ("--version",)])
def test_a_full_device(words):
    with Path("/dev/full").open("wb") as full:
        done = run(*words, stdout=full)
    assert_told(done, 1, "disk must have room")


def test_who_reads_only_the_start_hears_nothing_more():
    with subprocess.Popen(
        [*PROGRAM, "rigs", "show", PRESET], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as made:
        made.stdout.close()
        assert made.stderr.read() == b""


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_any_encoding_of_the_terminal(encoding, tmp_path):
    path = tmp_path / "rig.toml"
    text = re.sub("(?m)^artwork.*", "", run("rigs", "show", PRESET).stdout.decode("utf-8"))
    path.write_text(text + '\n# Größe „gold“ 金 "\n', "utf-8")
    done = run("rigs", "show", path, env={"PYTHONIOENCODING": encoding})
    assert done.returncode == 0, done.stderr
    assert "\\u91d1" in done.stdout.decode(encoding) or "金" in done.stdout.decode(encoding)


def test_a_rig_that_may_not_be_read(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text("format = 1")
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    assert_told(run("rigs", "check", path), 2, "Permission denied")


@pytest.mark.parametrize(
    ("command", "name"),
    [
        ("check", "\x1b]0;t\x07.toml"),
        ("check", "a/" * 3000 + "b.toml"),
        ("predict", "x" * 5000),
        ("copy", "\x1b[2J"),
    ],
)
def test_names_that_cannot_be(name, command, tmp_path):
    words = {
        "check": ("rigs", "check", name),
        "predict": ("predict", PRESET, "--out", tmp_path / "f" / name / ("x" * 300)),
        "copy": ("rigs", "copy", PRESET, tmp_path / name / ("x" * 300)),
    }[command]
    done = run(*words, "--json")
    assert_told(done, 2)
    assert b"\x1b" not in done.stderr + done.stdout
    assert json.loads(done.stdout)["error"]


def test_bytes_that_are_no_text_as_a_name(tmp_path):
    done = run("rigs", "check", os.fsdecode(b"tag\xff.toml"), cwd=tmp_path)
    assert_told(done, 2, "\\xff")


def test_little_memory_is_told(tmp_path):
    def little():
        resource.setrlimit(resource.RLIMIT_AS, (700 << 20, 700 << 20))

    done = run(
        "predict",
        PRESET,
        "--out",
        tmp_path / "p",
        preexec=little,
        env={"OPENBLAS_NUM_THREADS": "1"},
    )
    if done.returncode == 0:
        pytest.skip("700 MB are enough here")
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
@pytest.mark.parametrize("moment", ["0.1 s", "at work"])
def test_stopped_is_told(number, code, moment, tmp_path):
    out = tmp_path / "out"
    with subprocess.Popen(
        [*PROGRAM, "plan", PRESET, "--out", out], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as made:
        end = time.monotonic() + 60
        while moment == "at work" and not out.exists() and time.monotonic() < end:
            time.sleep(0.02)
        time.sleep(0.1)
        made.send_signal(number)
        if number == signal.SIGINT and moment == "at work":
            time.sleep(0.5)
            made.send_signal(number)  # the first asks for the best so far
        errors = made.stderr.read().decode()
    # In its first moments, before a line of ours has run, the interpreter itself is not ready
    # for more than to end, with a traceback and a code of its own (1).
    early = "lightplan" not in errors
    allowed = (code,) if moment == "at work" else (code, -number, 130, *((1,) if early else ()))
    assert made.returncode in allowed, errors
    if made.returncode == code:
        assert "Traceback" not in errors
    assert not [p for p in tmp_path.rglob("*") if p.suffix == ".tmp"]


EARLY = """
import sys
sys.path.insert(0, sys.argv[1])
sys.modules.pop("signal", None)

class Interrupted:
    def find_spec(self, name, path=None, target=None):
        if name == "signal":
            raise KeyboardInterrupt

sys.meta_path.insert(0, Interrupted())
from lightplan.cli import main
"""


def test_ctrl_c_before_there_is_a_handler_is_told_too():
    done = subprocess.run(
        [sys.executable, "-S", "-c", EARLY, str(ROOT)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (130, "Stopped; nothing was left half-written.\n")


SWALLOWED = """
import os, signal, sys
sys.path.insert(0, sys.argv[1])

class Swallows:
    def find_spec(self, name, path=None, target=None):
        if name == "lightplan.cli.app":
            try:
                os.kill(os.getpid(), int(number))
            except KeyboardInterrupt:
                if told:
                    raise ImportError("initialization failed")

number, told = sys.argv[2:4]
sys.meta_path.insert(0, Swallows())
sys.argv[1:] = ["--version"]
from lightplan.cli import main
main()
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("told", ["", "as a fault of a compiled module"])
def test_a_stop_that_was_swallowed_while_loading_still_stops(number, told):
    done = subprocess.run(
        [sys.executable, "-c", SWALLOWED, str(ROOT), str(int(number)), told],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (143 if number == signal.SIGTERM else 130, "")
    assert done.stderr == "Stopped; nothing was left half-written.\n"


LOST = """
import signal, sys, time, weakref
sys.path.insert(0, sys.argv[1])
import lightplan.cli.app

class Thing:
    pass

def work():
    thing = Thing()
    seen = weakref.ref(thing, lambda _: signal.raise_signal(int(sys.argv[2])))
    del thing  # Python prints faults of such a callback, and goes on
    for _ in range(100):
        time.sleep(0.1)
    return 0

lightplan.cli.app.main = work
from lightplan.cli import main
main()
"""


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stop_that_python_lost_in_a_callback_is_asked_for_again(number, code):
    done = subprocess.run(
        [sys.executable, "-c", LOST, str(ROOT), str(int(number))],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == code
    assert done.stderr == "Stopped; nothing was left half-written.\n"


def test_little_is_loaded_before_ctrl_c_is_heeded():
    """What comes before is the interpreter's own start, which nothing of ours can shorten."""
    program = (
        "import sys; sys.path.insert(0, sys.argv[1]); before = set(sys.modules); import lightplan;"
        "print(sorted(set(sys.modules) - before))"
    )
    done = subprocess.run(
        [sys.executable, "-S", "-c", program, str(ROOT)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "['__future__', 'lightplan', 'lightplan.version']"
