"""The dashboard among a device's own programs: what a browser needs for it, told to those alone who are let in."""

from __future__ import annotations

import json
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image

from forecast.dashboard.phones import Phones
from forecast.dashboard.server import ICON, LINKS, MANIFEST, TOUCH_ICON, Door, files
from tests.dashboard.test_door import ELSEWHERE, PHONE, ask, to_the_end

PAGE = b"<!doctype html><html><head><title>x</title></head><body></head></body></html>"


def test_the_manifest_says_what_a_browser_asks_of_it() -> None:
    """Members and their values: W3C Web Application Manifest, sections 1.3 to 1.15 (from memory)."""
    answer = ask(path=MANIFEST)
    assert answer.status == 200
    assert answer.headers["content-type"] == "application/manifest+json"
    told = json.loads(answer.body)
    assert told["name"]
    assert len(told["short_name"]) <= 12
    assert told["display"] in ("fullscreen", "standalone", "minimal-ui", "browser")
    assert told["start_url"].startswith(told["scope"])
    for icon in told["icons"]:
        found = ask(path=icon["src"])
        assert found.headers["content-type"] == icon["type"]
        assert found.body


def test_the_icons_are_what_the_manifest_says(tmp_path: Any) -> None:
    (tmp_path / "icon.png").write_bytes(files()[TOUCH_ICON][1])
    with Image.open(tmp_path / "icon.png") as image:
        assert f"{image.width}x{image.height}" == "192x192"
    drawing = ElementTree.fromstring(files()[ICON][1])
    assert drawing.tag == "{http://www.w3.org/2000/svg}svg"
    assert "script" not in files()[ICON][1].decode()


@pytest.mark.parametrize("path", [MANIFEST, ICON, TOUCH_ICON])
def test_a_phone_without_the_code_is_told_none_of_it(path: str) -> None:
    phones = Phones(lambda: (ELSEWHERE,), 8501, [].append, pause=0)
    assert ask(phones, client=PHONE, path=path).status == 401


@pytest.mark.parametrize("pieces", [1, 3, len(PAGE)])
@pytest.mark.parametrize(
    ("kind", "accept", "changed"),
    [
        ("text/html; charset=utf-8", "text/html,*/*", True), ("text/html", "*/*", False),
        ("text/css", "text/html", False),
    ],
)  # fmt: skip
def test_the_first_page_names_the_manifest_in_its_head_once(
    pieces: int, kind: str, accept: str, changed: bool
) -> None:
    step = -(-len(PAGE) // pieces)
    sent: list[dict[str, Any]] = []

    async def behind(scope: Any, receive: Any, send: Any) -> None:
        asked = dict(scope["headers"])
        assert (b"accept-encoding" in asked) is not ("text/html" in accept)
        headers = [
            (b"content-type", kind.encode()),
            (b"content-length", str(len(PAGE)).encode()),
            (b"etag", b"1"),
        ]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        for begin in range(0, len(PAGE), step):
            more = begin + step < len(PAGE)
            await send({"type": "http.response.body", "body": PAGE[begin : begin + step], "more_body": more})

    async def receive() -> dict[str, Any]:
        return {"type": "http.request"}

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"host", b"127.0.0.1:8501"), (b"accept", accept.encode()), (b"accept-encoding", b"gzip")]
    scope = {
        "type": "http", "method": "GET", "path": "/", "query_string": b"", "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8501), "headers": headers,
    }  # fmt: skip
    to_the_end(Door(behind)(scope, receive, send))
    body = b"".join(message["body"] for message in sent if message["type"] == "http.response.body")
    told = dict(sent[0]["headers"])
    assert body.count(LINKS) == changed
    assert body.replace(LINKS, b"") == PAGE
    assert told[b"content-length"] == str(len(body)).encode()
    assert (b"etag" in told) is not changed  # so that no copy without the links is taken for this one
    assert body.index(b"</head>") > body.find(LINKS)
