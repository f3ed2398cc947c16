"""The door of the dashboard's server: who is let in, what a browser may do, and what lets it install the pages.

Web Application Manifest, W3C Working Draft, https://www.w3.org/TR/appmanifest/ (members and link relation from memory).
A page that a phone asks for over the home network is no secure context: some browsers then offer a bookmark on the home
screen and no more. Without the server nothing is shown: every figure is made by it.

Everything that a browser sends passes `Door` before Streamlit sees it. Streamlit itself would take any name for its
own, let other pages frame it, and call an address elsewhere to learn its own name before it refuses a foreign one.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import json
import os
import re
import sys
import threading
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, MutableMapping
from contextlib import asynccontextmanager
from importlib import resources
from pathlib import Path
from typing import Any, TypeAlias
from urllib.parse import parse_qs, urlsplit

import streamlit
from starlette.middleware import Middleware
from streamlit import config
from streamlit.cli_util import open_browser

from forecast.dashboard.phones import COOKIE, ENTER, LONGEST_FORM, Phones, code_page, refused_page
from forecast.dashboard.ready import make_ready, spare
from forecast.dashboard.scripts import ALL
from forecast.views.addresses import PHONE, own_addresses

MANIFEST, ICON, TOUCH_ICON = "/forecast.webmanifest", "/forecast-icon.svg", "/forecast-icon.png"

# The manifest of a page that is let in by a cookie is asked for with it.
LINKS = (
    f'<link rel="manifest" href="{MANIFEST}" crossorigin="use-credentials">'
    f'<link rel="apple-touch-icon" href="{TOUCH_ICON}">'
    '<meta name="theme-color" content="#0F6B6B">'
).encode()
"""What stands in the head of the first page."""


def _manifest() -> bytes:
    return json.dumps(
        {
            "id": "/",
            "name": "Forecast: what the conversion may cost",
            "short_name": "Forecast",
            "description": "What your car's body conversion may cost, and where it ends as receipts come in.",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#FBFAF7",
            "theme_color": "#0F6B6B",
            "icons": [
                {"src": TOUCH_ICON, "sizes": "192x192", "type": "image/png", "purpose": "any"},
                {"src": ICON, "sizes": "any", "type": "image/svg+xml", "purpose": "any maskable"},
            ],
            "shortcuts": [{"name": "Enter a receipt", "url": "/receipts"}],
        }
    ).encode()


def files() -> dict[str, tuple[str, bytes]]:
    """Give what is answered at each of the paths: its type, and its bytes."""
    return {
        MANIFEST: ("application/manifest+json", _manifest()),
        ICON: ("image/svg+xml", resources.files("forecast.dashboard").joinpath("icon.svg").read_bytes()),
        TOUCH_ICON: ("image/png", resources.files("forecast.dashboard").joinpath("icon.png").read_bytes()),
    }


def with_links(page: bytes) -> bytes:
    """Give a first page with `LINKS` at the end of its head; any other page as it is."""
    return page.replace(b"</head>", LINKS + b"</head>", 1)


Scope: TypeAlias = MutableMapping[str, Any]
Message: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Message]]
Send: TypeAlias = Callable[[Message], Awaitable[None]]
Asgi: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]

_ALWAYS = (
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
_OWN_PAGE = "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
"""What the door's own pages may do: show themselves, and send their form back."""


class Door:
    """Lets in who belongs, before anything else of the server is reached.

    Parameters
    ----------
    app : callable
        What stands behind it.
    phones : Phones, optional
        Who else is let in with a code; without it only programs on this machine are.
    scripts : iterable of str
        Hashes of the scripts between tags that may run.
    """

    def __init__(self, app: Asgi, phones: Phones | None = None, scripts: Iterable[str] = ()) -> None:
        self._app = app
        self._phones = phones
        self._files = files()
        self._scripts = " ".join(f"'{one}'" for one in scripts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer what is refused, and hand on the rest."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        host = _own_host(scope)
        if host is None:
            address = f"http://{_display(scope)}"
            await _refuse(scope, receive, send, 403, refused_page(f"Open it at {address} instead."))
            return
        if not _is_own_page(scope, host):
            await _refuse(
                scope, receive, send, 403, refused_page("Another page asked for it, and is not answered.")
            )
            return
        if not _is_this_machine(scope) and not await self._admits(scope, receive, send):
            return
        found = self._files.get(scope["path"]) if scope["type"] == "http" else None
        if found is not None:
            kind, body = found
            await _answer(send, 200, body, [(b"content-type", kind.encode())])
            return
        # Streamlit compares where a request came from with names that it asks others for; that is settled here.
        left_out = {b"origin"}
        told = _with_headers(send, self._policy(host))
        if scope["type"] == "http" and any("text/html" in one for one in _values(scope, b"accept")):
            left_out |= {
                b"accept-encoding",
                b"if-none-match",
                b"if-modified-since",
            }  # it is read, and sent anew
            told = _with_head(told)
        scope = {**scope, "headers": [pair for pair in scope["headers"] if pair[0] not in left_out]}
        await self._app(scope, receive, told)

    async def _admits(self, scope: Scope, receive: Receive, send: Send) -> bool:
        """Tell whether another machine has given the code; answer it where it has not."""
        phones = self._phones
        if phones is None:
            page = refused_page(
                "It is open on this machine alone. 'forecast app --phone' there lets a phone in."
            )
            await _refuse(scope, receive, send, 403, page)
            return False
        if phones.knows(_cookie(scope)):
            return True
        if scope["type"] == "http" and scope["method"] == "POST" and scope["path"] == ENTER:
            token, said = await phones.enter(_code(await _body(receive)), str(scope["client"][0]))
            if token is not None:
                cookie = f"{COOKIE}={token}; Path=/; Max-Age=604800; HttpOnly; SameSite=Strict"
                headers = [(b"location", b"/"), (b"set-cookie", cookie.encode())]
                await _answer(send, 303, b"", headers)
                return False
        else:
            said = ""
        # The same for every path: what there is here is not told.
        await _refuse(scope, receive, send, 401, code_page(said, _code(scope.get("query_string", b""))))
        return False

    def _policy(self, host: str) -> bytes:
        """Say what the pages may load and run: what this server sends, and nothing from elsewhere."""
        return (
            "default-src 'self'; "
            f"script-src 'self' {self._scripts}; "
            "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
            f"connect-src 'self' ws://{host}; worker-src 'self' blob:; object-src 'none'; frame-src 'none'; "
            "frame-ancestors 'none'; base-uri 'self'; form-action 'self'"
        ).encode()


def _values(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]


def _own_host(scope: Scope) -> str | None:
    """Give the name that a browser called this server by; None unless it can only mean this very machine.

    A page elsewhere can have its own name point here, but it cannot take an address's place: only the address at which
    this connection arrived, and the names of the machine for itself, are its own.
    """
    hosts = _values(scope, b"host")
    if len(hosts) != 1 or not re.fullmatch(r"[0-9A-Za-z.:\[\]-]+", hosts[0]):
        return None
    try:
        parts = urlsplit(f"//{hosts[0]}")
        name, _ = parts.hostname or "", parts.port
    except ValueError:
        return None
    if name == "localhost":
        return hosts[0]
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return None
    here = (scope.get("server") or ("",))[0]
    return hosts[0] if address.is_loopback or str(address) == here else None


def _is_own_page(scope: Scope, host: str) -> bool:
    """Tell whether a page of this server, the address bar, or no page at all asks; a foreign one may only link here."""
    if any(origin.lower() != f"http://{host}".lower() for origin in _values(scope, b"origin")):
        return False
    site, mode, goal = (_values(scope, b"sec-fetch-" + part) for part in (b"site", b"mode", b"dest"))
    if not {"cross-site", "same-site"} & set(site):
        return True
    return (
        scope["type"] == "http" and scope["method"] == "GET" and mode == ["navigate"] and goal == ["document"]
    )


def _is_this_machine(scope: Scope) -> bool:
    try:
        return ipaddress.ip_address((scope.get("client") or ("",))[0]).is_loopback
    except ValueError:
        return False


def _display(scope: Scope) -> str:
    name, port = scope.get("server") or ("127.0.0.1", None)
    return f"{name}:{port}" if port else str(name)


def _cookie(scope: Scope) -> str:
    for line in _values(scope, b"cookie"):
        for part in line.split(";"):
            name, _, value = part.strip().partition("=")
            if name == COOKIE:
                return value
    return ""


def _code(form: bytes) -> str:
    """Give the code in a form or an address, blanks and dashes left out; nothing where there is none."""
    found = parse_qs(form.decode("ascii", "replace"), max_num_fields=4).get("code", [""])[0]
    return re.sub(r"[^0-9]", "", found)[:20]


async def _body(receive: Receive) -> bytes:
    """Read a small form; what is longer is none."""
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return b""
        body += bytes(message.get("body", b""))
        if len(body) > LONGEST_FORM:
            return b""
        if not message.get("more_body"):
            return body


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, page: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    await _answer(send, status, page.encode(), [(b"content-type", b"text/html; charset=utf-8")])


async def _answer(send: Send, status: int, body: bytes, headers: list[tuple[bytes, bytes]]) -> None:
    headers = [*headers, (b"content-length", str(len(body)).encode()), (b"cache-control", b"no-store")]
    told = _with_headers(send, _OWN_PAGE.encode())
    await told({"type": "http.response.start", "status": status, "headers": headers})
    await told({"type": "http.response.body", "body": body})


def _with_headers(send: Send, policy: bytes) -> Send:
    """Add what browsers are told about every answer."""

    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [*message.get("headers", []), (b"content-security-policy", policy), *_ALWAYS]
            message = {**message, "headers": headers}
        await send(message)

    return told


def _with_head(send: Send) -> Send:
    """Add to the head of a first page what `forecast.dashboard.server` has for it; send all else as it comes."""
    held: Message | None = None
    body = b""

    async def told(message: Message) -> None:
        nonlocal held, body
        if message["type"] == "http.response.start":
            kinds = [value for key, value in message.get("headers", []) if key.lower() == b"content-type"]
            if any(kind.startswith(b"text/html") for kind in kinds):
                held = message
                return
        if held is None or message["type"] != "http.response.body":
            await send(message)
            return
        body += bytes(message.get("body", b""))
        if message.get("more_body"):
            return
        page = with_links(body)
        gone = {b"content-length", b"etag", b"last-modified"}
        headers = [pair for pair in held.get("headers", []) if pair[0].lower() not in gone]
        await send({**held, "headers": [*headers, (b"content-length", str(len(page)).encode())]})
        held = None
        await send({**message, "body": page})

    return told


def own_scripts() -> list[str]:
    """Give the hashes of the scripts that may run: the dashboard's own, and those in Streamlit's first page."""
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    known = [*re.findall(r"<script>(.*?)</script>", page, re.DOTALL), *ALL]
    hashes = (hashlib.sha256(script.encode()).digest() for script in known)
    return [f"sha256-{base64.b64encode(one).decode()}" for one in hashes]


def parts() -> dict[str, Any]:
    """Give what the dashboard's server is put together from, beside its script."""
    spare()
    port = int(config.get_option("server.port"))
    phones = Phones(lambda: own_addresses(), port) if os.environ.get(PHONE) else None

    @asynccontextmanager
    async def begun(_: object) -> AsyncIterator[None]:
        if phones is not None:
            phones.announce()
        if not config.get_option("server.headless"):
            open_browser(f"http://127.0.0.1:{port}")
        asked_for = sys.argv[1] if len(sys.argv) > 1 else None  # as in app.py
        threading.Thread(target=make_ready, args=(asked_for,), name="make ready", daemon=True).start()
        try:
            yield
        finally:
            if shelf := sys.modules.get("forecast.dashboard.shelf"):
                shelf.ASIDE.stop()

    door = Middleware(Door, phones=phones, scripts=own_scripts())
    return {"middleware": [door], "lifespan": begun}
