"""A page that is served to tests: a process of its own, a home of its own."""

from __future__ import annotations

import http.client
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


ENDS_WITHIN_S = 60  # some three are usual; the machine may be busy


@dataclass
class Served:
    """A page as a maker has it: address, key, and the folder of the program's data."""

    port: int
    key: str
    home: Path
    process: subprocess.Popen[str] = field(repr=False)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self, method: str, path: str, *, headers: dict[str, str] | None = None, body: bytes = b""
    ) -> tuple[int, dict[str, str], bytes]:
        """Ask without a browser, so that every header can be forged."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        sent = {"Host": f"127.0.0.1:{self.port}", **(headers or {})}
        if method == "POST" and "Content-Length" not in sent:
            sent["Content-Length"] = str(len(body))
        for name, value in sent.items():
            connection.putheader(name, value)
        connection.endheaders(body if body else None)
        answer = connection.getresponse()
        found = answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        connection.close()
        return found

    def cookie(self) -> str:
        """Trade the key for the cookie, as the browser does."""
        status, headers, _ = self.ask("GET", f"/?key={self.key}")
        assert status == 303
        return headers["set-cookie"].split(";")[0]

    def stop(self) -> None:
        """End it as Ctrl-C does; one that does not end is killed, and that is a failure."""
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(timeout=ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            raise AssertionError(f"Ctrl-C did not end it in {ENDS_WITHIN_S} s") from None
        finally:
            self.close()

    def close(self) -> None:
        """Leave nothing behind: no process, no pipe."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


def serve(home: Path, *arguments: str) -> Served:
    """Start `lightplan open` and return once it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "lightplan", "open", *arguments, "--no-browser"],
        env={**os.environ, "LIGHTPLAN_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:(\d+)/\?key=(\w+)", line)
    assert found, line
    return Served(int(found[1]), found[2], home, process)
