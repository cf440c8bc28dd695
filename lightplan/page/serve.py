"""Start the page: a port on this machine, an address with a key, a browser."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import sys
import threading
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
from lightplan.page.guard import HOST
from lightplan.session.folders import clear_up, page_key_file
from lightplan.session.live_picture import LIVE_PICTURE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

USUAL_PORT = 8573
PORTS_TO_TRY = 20
SWITCH_S = 0.001
"""How long the picture's thread may keep the line to the tabs waiting."""
LAST_RESORT_S = 3.0
"""How long after Ctrl-C, once everything is saved, the process may take to end by itself."""


def serve(
    work: str | None, *, port: int | None, browser: bool, say: Callable[[str, str], None]
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    work : str or None
        A rig file, the name of a preset, a shoot folder; None: begin with the shelf.
    port : int or None
        None: the usual one, or the next that is free.
    browser : bool
        Whether to open the maker's browser.
    say : callable
        Told the address, once the page answers there, and what was opened.
    """
    import uvicorn

    from lightplan.page.application import make_app
    from lightplan.page.desk import Desk

    clear_up()  # after a page that was killed
    bound = _bound(port)
    number = bound.getsockname()[1]
    key = key_for(number)
    desk = Desk(work)
    address = f"http://{HOST}:{number}/?key={key}"

    def started() -> None:
        say(address, desk.title)
        if browser:
            _open(address)

    app = make_app(desk, key=key, port=number, started=started, ended=_end_soon)
    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        ws="websockets-sansio",
        ws_max_size=1 << 20,
        ws_per_message_deflate=False,
        ws_ping_interval=None,  # on one machine a line that ends is told; a busy one is not cut
        timeout_graceful_shutdown=2,
    )
    sys.setswitchinterval(SWITCH_S)
    with contextlib.suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[bound])
    if any(thread.name == LIVE_PICTURE for thread in threading.enumerate()):
        _end_now()  # it is deep in a picture, or compiling its first loops


def _end_now() -> None:
    """End this process, whatever its threads do: all of the maker's work is on the disk by now."""
    sys.stdout.flush()
    os._exit(0)


def _end_soon() -> None:
    """End this process before long, even if a thread of it is deep in a photograph.

    Such a thread cannot be asked to end, and Python would wait for it.
    """
    last_resort = threading.Timer(LAST_RESORT_S, _end_now)
    last_resort.daemon = True
    last_resort.start()


def _bound(port: int | None) -> socket.socket:
    """Return a socket on the port that was asked for, or on the first free one."""
    first, count = (USUAL_PORT, PORTS_TO_TRY) if port is None else (port, 1)
    wanted = range(first, first + count)
    for number in wanted:
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((HOST, number))
            found.listen()  # two that start at once can both bind a port, but not both listen
        except (OSError, OverflowError):
            found.close()
            continue
        found.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return found
    raise BadInput(
        field="--port", wanted="one that is free", got=first, cure="name another, or leave it out"
    )


def key_for(port: int) -> str:
    """Return the key of a port; the same after a restart, so that open tabs come back.

    It lies in a file that only the maker can read.
    """
    path = page_key_file(port)
    with contextlib.suppress(OSError):
        kept = path.read_text("ascii").strip()
        if len(kept) >= 32 and kept.isalnum() and _is_private(path):
            return kept
    key = secrets.token_hex(24)
    with contextlib.suppress(OSError):  # a disk that cannot be written: a new key each time
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.touch(mode=0o600)
        path.write_text(key, "ascii")
    return key


def _is_private(path: Path) -> bool:
    return path.stat().st_mode & 0o077 == 0


def _open(address: str) -> None:
    import webbrowser

    with contextlib.suppress(Exception):  # the address is printed: that is enough
        webbrowser.open(address)
