"""Templates of pages that run the scripts they were made with and no other."""

from __future__ import annotations

import base64
import hashlib
import re
from importlib import resources


def template(name: str) -> str:
    """Return a page's template; it names its own scripts by their fingerprints.

    Whatever a text from outside should manage to smuggle into the page, the browser does
    not run it. Only `<script>` without attributes is run; nothing may be filled in there.
    """
    page = resources.files("lightplan.reports").joinpath(name).read_text("utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    prints = (base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts)
    rule = " ".join(f"'sha256-{p}'" for p in prints)
    return page.replace("script-src 'unsafe-inline'", f"script-src {rule}", 1)
