"""What the page loads, and that nothing begins once it has ended."""

from __future__ import annotations

import ast
import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

import lightplan.page
from lightplan.page.desk import Desk
from lightplan.page.loading import SIGHT, TOOLS
from lightplan.rigfiles import copy_rig
from lightplan.rigfiles.store import find_rig

ROOM = Path(lightplan.page.__file__).parent


def late_imports(room: Path = ROOM) -> set[str]:
    """Modules that the functions of a room load when they are called."""
    found = set()
    for path in room.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
        functions = [node for node in ast.walk(tree) if isinstance(node, kinds)]
        for function in functions:
            for node in ast.walk(function):
                if isinstance(node, ast.ImportFrom) and node.module == "scipy":
                    found |= {f"scipy.{alias.name}" for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module:
                    found.add(node.module)
    return found


def test_whatever_a_stage_needs_is_loaded_beforehand_in_one_thread():
    tasks = {name for name in late_imports() if name.startswith("lightplan.tasks")}
    assert tasks <= {*SIGHT, *TOOLS}


@pytest.mark.parametrize("room", ["geometry", "optics", "scene", "light", "mirror"])
def test_what_light_loads_late_is_loaded_before_its_thread_works(room):
    # It met the thread that loads the tools half way in scipy; nothing but the picture worked then.
    late = {name for name in late_imports(ROOM.parent / room) if name.startswith("scipy")}
    assert late <= set(SIGHT)


def test_the_page_itself_loads_none_of_it():
    # or it would not be there within a second
    code = "import sys, lightplan.page.application, lightplan.page.desk, lightplan.page.stages; "
    code += "heavy = ('lightplan.light.', 'lightplan.advice', 'lightplan.tasks', 'cv2'); "
    code += "print([name for name in sys.modules if name.startswith(heavy)])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_after_the_end_no_work_begins(tmp_path):
    copied = copy_rig(find_rig("silver-bookplate-bright"), tmp_path / "mine.toml")

    async def open_and_end_at_once() -> Desk:
        desk = Desk(str(copied.path))
        desk.begin(asyncio.get_running_loop())
        desk._can_work.set()
        desk._rest_later()  # a picture has just come: a closer look is due in a moment
        assert desk._rest is not None
        await desk.end()
        await asyncio.sleep(0.4)
        return desk

    desk = asyncio.run(open_and_end_at_once())
    assert desk._eyes is not None
    desk._eyes.add("closer", print)
    assert not desk._eyes.doing("closer")
