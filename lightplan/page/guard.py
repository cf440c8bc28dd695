"""Who may ask: the maker's own browser on this machine, with the key, from our own page.

The address that is printed holds a key; the browser trades it for a cookie at its first visit,
and the key leaves the address bar. A page of another site cannot read the cookie
(`SameSite=Strict`, `HttpOnly`), cannot name our host (`Host`, against rebinding of names), and is
told apart by `Origin` and `Sec-Fetch-Site` (against writes across sites).
"""

from __future__ import annotations

import hashlib
import hmac
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
NO_KEY = (
    "This page belongs to the maker who started it. Open it with the address that "
    "lightplan open printed; it ends with a key."
)
FOREIGN = "This page answers only itself, not other sites."
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self' ws://{host}; object-src 'self'; frame-src 'self'; manifest-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
)


class Guard:
    """Stands before the whole page.

    Parameters
    ----------
    app : ASGI application
    key : str
        In the address that was printed.
    port : int
    """

    def __init__(self, app: ASGIApp, *, key: str, port: int) -> None:
        self._app, self._key, self._port = app, key, port
        self._hosts = {f"{HOST}:{port}", f"localhost:{port}"}
        self.cookie_name = f"lightplan-{port}"
        self.cookie = hmac.new(key.encode(), b"cookie", hashlib.sha256).hexdigest()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse, or let through."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is None:
            await self._app(scope, receive, self._dressed(send, headers.get("host", "")))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4403, "reason": "not allowed"})
        else:
            await refusal(scope, receive, self._dressed(send, ""))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if host not in self._hosts:
            return PlainTextResponse(FOREIGN, 403)
        if not self._from_our_page(scope, headers, host):
            return PlainTextResponse(FOREIGN, 403)
        if self._has_cookie(headers):
            return None
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [""])[0]
        is_first = scope["type"] == "http" and scope["path"] == "/" and scope["method"] == "GET"
        if is_first and hmac.compare_digest(given.encode(), self._key.encode()):
            answer = RedirectResponse("/", 303)
            answer.set_cookie(
                self.cookie_name, self.cookie, httponly=True, samesite="strict", path="/"
            )
            return answer
        return PlainTextResponse(NO_KEY, 403)

    def _from_our_page(self, scope: Scope, headers: Headers, host: str) -> bool:
        """Whether a request that may change something comes from the page itself."""
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return False
        site = headers.get("sec-fetch-site", "none")
        if scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD"):
            return origin is not None and site in ("same-origin", "none")
        # Another site may lead here by a link (to the first page only), and never embed us.
        is_visit = headers.get("sec-fetch-mode", "navigate") == "navigate"
        return site in ("same-origin", "none") or (is_visit and scope["path"] == "/")

    def _has_cookie(self, headers: Headers) -> bool:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self.cookie_name)
        except CookieError:
            return False
        return found is not None and hmac.compare_digest(found.value.encode(), self.cookie.encode())

    def _dressed(self, send: Send, host: str) -> Send:
        """Add what tells the browser to run nothing but our own files."""
        policy = POLICY.format(host=host).encode("latin-1")
        extra = [
            (b"content-security-policy", policy),
            (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"),
            (b"cross-origin-opener-policy", b"same-origin"),
            (b"cross-origin-resource-policy", b"same-origin"),
            (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
        ]

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *extra]
                names = {name.lower() for name, _ in message["headers"]}
                if b"cache-control" not in names:
                    message["headers"].append((b"cache-control", b"no-store"))
            await send(message)

        return dressed
