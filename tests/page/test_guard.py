"""Attacks on the page: each is refused, and beside it stands what would have been let through."""

from __future__ import annotations

import json

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from lightplan.page.serve import _bound
from lightplan.page.uploads import shown_name


@pytest.fixture(scope="module")
def cookie(served):
    return served.cookie()


def own(served, cookie, **more):
    return {"Cookie": cookie, "Origin": served.address, "Sec-Fetch-Site": "same-origin", **more}


def test_without_the_key_nothing_is_shown(served):
    for path in ("/", "/static/main.js", "/made/image/x", "/?key=", f"/?key={'0' * 48}"):
        status, _, body = served.ask("GET", path)
        assert status == 403
        assert b"<" not in body
    assert (
        served.ask("GET", f"/static/main.js?key={served.key}")[0] == 403
    )  # the key opens one door


def test_the_key_becomes_a_cookie_that_scripts_and_other_sites_cannot_have(served):
    status, headers, _ = served.ask("GET", f"/?key={served.key}")
    assert (status, headers["location"]) == (303, "/")
    flags = {flag.strip().lower() for flag in headers["set-cookie"].split(";")[1:]}
    assert {"httponly", "samesite=strict"} <= flags
    assert served.key not in headers["set-cookie"]


def test_a_page_comes_with_the_cookie_and_may_run_our_files_alone(served, cookie):
    status, headers, body = served.ask("GET", "/", headers={"Cookie": cookie})
    assert status == 200
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert b"<script>" not in body
    assert b"style=" not in body
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


def test_another_host_name_is_refused(served, cookie):
    # a name of another site that was rebound to this machine
    for host in ("example.org", f"example.org:{served.port}", "127.0.0.1", "127.0.0.1:1", ""):
        assert served.ask("GET", "/", headers={"Cookie": cookie, "Host": host})[0] == 403
    host = f"localhost:{served.port}"
    assert served.ask("GET", "/", headers={"Cookie": cookie, "Host": host})[0] == 200


def test_another_site_cannot_write(served, cookie):
    body = b"format = 1"
    for headers in (
        own(served, cookie, Origin="http://example.org"),
        own(served, cookie, Origin="null"),
        own(served, cookie, Origin=f"http://localhost:{served.port}"),
        own(served, cookie, **{"Sec-Fetch-Site": "cross-site"}),
        own(served, cookie, **{"Sec-Fetch-Site": "same-site"}),
        {"Cookie": cookie, "Sec-Fetch-Site": "same-origin"},  # no origin told
        {"Origin": served.address},  # no cookie
    ):
        assert served.ask("POST", "/upload/rig", headers=headers, body=body)[0] == 403


def test_another_site_cannot_embed_or_read(served, cookie):
    for mode, path in (
        ("no-cors", "/static/main.js"),
        ("cors", "/"),
        ("navigate", "/made/image/x"),
    ):
        headers = {"Cookie": cookie, "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": mode}
        assert served.ask("GET", path, headers=headers)[0] == 403


def socket_status(served, **headers):
    """Status with which a WebSocket is refused; 101 where it is not."""
    origin = headers.pop("Origin", None)
    try:
        with connect(
            f"ws://127.0.0.1:{served.port}/socket", origin=origin, additional_headers=headers
        ):
            return 101
    except InvalidStatus as refused:
        return refused.response.status_code


def test_the_socket_is_for_our_own_page(served, cookie):
    assert socket_status(served, Cookie=cookie, Origin=served.address) == 101
    assert socket_status(served, Cookie=cookie, Origin="http://example.org") == 403
    assert socket_status(served, Cookie=cookie) == 403
    assert socket_status(served, Origin=served.address) == 403
    wrong = cookie[:-1] + ("0" if cookie[-1] != "0" else "1")
    assert socket_status(served, Cookie=wrong, Origin=served.address) == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/static/stages/../../app.py",
        "/static/%00",
        "/made/image/../../x",
        "/made/image/..%2fx",
        "/static/",
        "/static/stages",
    ],
)
def test_no_path_leads_out(served, cookie, path):
    status, _, body = served.ask("GET", path, headers={"Cookie": cookie})
    assert status == 404
    assert b"import" not in body
    assert b"root:" not in body


def test_files_of_another_kind_or_size_are_refused(served, cookie):
    def sent(purpose, name, body, **more):
        headers = own(served, cookie, **{"x-name": name, **more})
        status, _, answer = served.ask("POST", f"/upload/{purpose}", headers=headers, body=body)
        return status, json.loads(answer)["error"]

    status, why = sent("rig", "evil.exe", b"MZ")
    assert (status, "must be one of .toml" in why) == (400, True)
    status, why = sent("rig", "big.toml", b"#" * (1 << 20) + b"more")
    assert (status, "at most 1 MB" in why) == (413, True)
    assert sent("photo", "huge.jpg", b"", **{"Content-Length": str(121 << 20)})[0] == 413
    assert sent("system", "x.toml", b"")[0] == 400


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("../../up.jpg", "up.jpg"),
        ("C:\\x\\up.jpg", "up.jpg"),
        ("a\x00b\n.png", "ab.png"),
        ('<img src=x onerror="alert(1)">.jpg', "img src=x onerror=alert(1).jpg"),
        ("..", "file"),
        ("", "file"),
        ("\u202egpj.exe", "gpj.exe"),
        ("x" * 400 + ".jpg", None),
    ],
)
def test_hostile_names_become_plain_text(given, shown):
    found = shown_name(given)
    assert len(found) <= 120
    assert not set(found) & set('<>"&/\\')
    if shown is not None:
        assert found == shown


def move(position):
    return (
        '{"do": "edits", "edits": [{"do": "move", "element": "sky", "position_mm": ['
        + position
        + "]}]}"
    )


NONSENSE = (
    "",
    "x",
    "[]",
    "null",
    "{}",
    '{"do": 1}',
    '{"do": "__class__"}',
    "[" * 5000,
    '{"do": "edits", "edits": 1}',
    '{"do": "edits", "edits": [{"do": "set"}]}',
    move("1, 2"),
    move("NaN, 2, 3"),
    move('"1", 2, 3'),
    move("1e400, 2, 3"),
    '{"do": "open", "name": "../../etc/passwd"}',
    '{"do": "open", "what": "recent", "number": -1}',
    '{"do": "cure", "number": [1]}',
    '{"do": "pixels", "file": "../../../etc/passwd", "at": [0, 0]}',
    '{"do": "large", "file": ["x"]}',
    '{"do": "compare", "keys": ["/etc/passwd", "/etc/hosts"]}',
    '{"do": "compare", "keys": [[], {}]}',
    '{"do": "cure", "number": 1e400}',
)


def test_nonsense_on_the_socket_is_told_and_nothing_breaks(served, cookie):
    with connect(
        f"ws://127.0.0.1:{served.port}/socket",
        origin=served.address,
        additional_headers={"Cookie": cookie},
    ) as socket:
        for text in NONSENSE:
            socket.send(text)
            refused = None
            while refused is None:
                message = socket.recv(timeout=30)
                if isinstance(message, str) and json.loads(message)["is"] == "refused":
                    refused = json.loads(message)["text"]
            assert "must be" in refused
    assert (served.home / "works" / "silver-bookplate-bright.toml").exists()


def test_two_that_start_at_once_do_not_share_a_port():
    # Both may bind it while neither listens; the page of one was then asked for the other's.
    with _bound(None) as first, _bound(None) as second:
        assert first.getsockname()[1] != second.getsockname()[1]
