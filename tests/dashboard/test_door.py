"""Who is let in by the dashboard's server, and what browsers are told; a real one stands in tests/browser."""

from __future__ import annotations

import asyncio
import hmac
import re
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import quote

import pytest

from forecast.dashboard import phones as phones_module
from forecast.dashboard import server as server_module
from forecast.dashboard.phones import COOKIE, ENTER, LONGEST_FORM, TRIES, Phones, code_page
from forecast.dashboard.scripts import ALL
from forecast.dashboard.server import Door, own_scripts, parts

T = TypeVar("T")
HERE, PHONE, ELSEWHERE = "127.0.0.1", "192.168.1.20", "192.168.1.7"
"""This machine for itself, a phone, and this machine in its network."""


@dataclass
class Answer:
    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    reached: list[dict[str, Any]] = field(default_factory=list)


def to_the_end(work: Coroutine[Any, Any, T]) -> T:
    """Run it in a thread of its own: the one of the tests may hold the loop of a browser."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def ask(
    phones: Phones | None = None,
    *,
    kind: str = "http",
    client: str = HERE,
    server: str | None = None,
    method: str = "GET",
    path: str = "/",
    query: bytes = b"",
    body: bytes = b"",
    scripts: tuple[str, ...] = (),
    **headers: str | None,
) -> Answer:
    """Ask a door something, and give what came back and what got through."""
    server = server or (HERE if client == HERE else ELSEWHERE)
    sent = {"host": f"{server}:8501"} | {name.replace("_", "-"): value for name, value in headers.items()}
    answer = Answer()

    async def behind(scope: Any, receive: Any, send: Any) -> None:
        answer.reached.append(scope)
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"inside"})
        else:
            await send({"type": "websocket.accept"})

    async def receive() -> dict[str, Any]:
        return (
            {"type": "websocket.connect"} if kind == "websocket" else {"type": "http.request", "body": body}
        )

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = {name.decode(): value.decode() for name, value in message["headers"]}
        elif message["type"] == "http.response.body":
            answer.body += message["body"]
        else:
            answer.status = 101 if message["type"] == "websocket.accept" else 403

    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "query_string": query,
        "client": (client, 40000),
        "server": (server, 8501),
        "headers": [(name.encode(), value.encode()) for name, value in sent.items() if value is not None],
    }
    to_the_end(Door(behind, phones, scripts)(scope, receive, send))
    return answer


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def phones(said: list[str]) -> Phones:
    return Phones(lambda: (ELSEWHERE,), 8501, said.append, pause=0)


def enter(phones: Phones, code: str, client: str = PHONE) -> Answer:
    return ask(phones, client=client, method="POST", path=ENTER, body=f"code={quote(code)}".encode())


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize("host", ["127.0.0.1:8501", "localhost:8501", "localhost", "[::1]:8501"])
def test_the_machines_own_names_are_let_in(kind: str, host: str) -> None:
    assert ask(kind=kind, host=host).reached


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8501", "evil.example", "127.0.0.1.evil.example:8501", "localhost.evil.example",
        "192.168.1.99:8501", "8.8.8.8", "127.0.0.1@evil.example", "127.0.0.1:8501/evil.example", "127.0.0.1:x", "",
        None, "[::1", "0x7f.1",
    ],
)  # fmt: skip
def test_a_foreign_name_for_this_machine_is_refused(kind: str, host: str | None) -> None:
    answer = ask(kind=kind, host=host)
    assert answer.status == 403
    assert not answer.reached
    if kind == "http":
        assert b"Open it at http://127.0.0.1:8501 instead." in answer.body


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "http://127.0.0.1:3000",
        "null",
        "https://127.0.0.1:8501",
        "http://localhost:8501",
        "",
    ],
)
def test_a_page_from_elsewhere_is_refused_and_streamlit_never_looks_for_it(kind: str, origin: str) -> None:
    assert not ask(kind=kind, method="POST", origin=origin).reached


def test_what_streamlit_would_ask_others_about_is_settled_before_it() -> None:
    for kind in ("http", "websocket"):
        (scope,) = ask(kind=kind, origin="http://127.0.0.1:8501").reached
        assert b"origin" not in dict(scope["headers"])
        assert b"host" in dict(scope["headers"])


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_foreign_page_may_link_here_and_no_more(site: str) -> None:
    asked: dict[str, str] = {
        "sec_fetch_site": site,
        "sec_fetch_mode": "navigate",
        "sec_fetch_dest": "document",
    }
    assert ask(**asked).reached  # type: ignore[arg-type]
    for change in (
        {"sec_fetch_dest": "iframe"},
        {"sec_fetch_mode": "no-cors"},
        {"method": "POST"},
        {"kind": "websocket"},
    ):
        assert not ask(**(asked | change)).reached  # type: ignore[arg-type]


def test_every_answer_forbids_frames_and_whatever_is_not_sent_from_here(phones: Phones) -> None:
    answers = (
        ask(scripts=("sha256-abc=",)),
        ask(host="evil.example"),
        ask(phones, client=PHONE),
        enter(phones, phones.code),
    )
    for answer in answers:
        assert answer.headers["x-frame-options"] == "DENY"
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
    rules = dict(
        rule.strip().split(" ", 1)
        for rule in answers[0].headers["content-security-policy"].split(";")
        if rule.strip()
    )
    assert rules["default-src"] == "'self'"
    assert rules["script-src"] == "'self' 'sha256-abc='"
    assert rules["connect-src"] == "'self' ws://127.0.0.1:8501"
    assert rules["object-src"] == "'none'"


def test_the_scripts_that_may_run_are_known_by_their_hash() -> None:
    assert len(own_scripts()) > len(ALL)  # those of the first page too
    assert all(re.fullmatch(r"sha256-[A-Za-z0-9+/]{43}=", one) for one in own_scripts())


def test_another_machine_is_not_let_in_where_no_phone_is_meant_to_be() -> None:
    for kind in ("http", "websocket"):
        answer = ask(kind=kind, client=PHONE)
        assert not answer.reached
        assert answer.status == 403


def test_this_machine_needs_no_code(phones: Phones) -> None:
    assert ask(phones).reached
    assert ask(phones, kind="websocket").reached
    assert not ask(phones, client=ELSEWHERE).reached  # its own address in the network is everybody's way in


def test_a_phone_that_gave_no_code_gets_the_same_answer_whatever_it_asks_for(phones: Phones) -> None:
    asked: list[dict[str, Any]] = [
        {"path": path, "method": method}
        for path in (
            "/",
            "/lines",
            "/etc/passwd",
            "/media/x.pdf",
            "/_stcore/health",
            "/static/../..",
            "/none",
        )
        for method in ("GET", "POST", "PUT")
    ]
    answers = [ask(phones, client=PHONE, **one) for one in asked]
    assert {(one.status, one.body, tuple(one.headers.items())) for one in answers} == {
        (401, answers[0].body, tuple(answers[0].headers.items()))
    }
    assert b"Enter the code" in answers[0].body
    assert not any(one.reached for one in answers)
    assert ask(phones, kind="websocket", client=PHONE, path="/_stcore/stream").status == 403


def test_a_phone_enters_the_code_once_and_is_known_from_then_on(phones: Phones, said: list[str]) -> None:
    code = phones.code
    answer = enter(phones, f" {code[:4]}-{code[4:]} ")
    assert (answer.status, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    token = cookie.split(";")[0]
    for kind in ("http", "websocket"):
        assert ask(phones, kind=kind, client=PHONE, cookie=f"other=1; {token}").reached
        assert not ask(phones, kind=kind, client=PHONE, cookie=f"{COOKIE}=x").reached
        assert not ask(phones, kind=kind, client=PHONE, cookie=token[:-1]).reached
    assert phones.code != code
    assert not enter(phones, code).headers.get("set-cookie")  # it lets one phone in
    assert said[0].startswith("A phone came in, from 192.168.1.20.")
    assert f"{phones.code[:4]} {phones.code[4:]}" in said[1]


def test_after_five_wrong_codes_there_is_a_new_one(phones: Phones, said: list[str]) -> None:
    code = phones.code
    wrong = f"{(int(code) + 1) % 10**8:08}"
    for left in range(TRIES - 1, 0, -1):
        answer = enter(phones, wrong)
        assert answer.status == 401
        assert (
            f"That is not the code. {left} {'try is' if left == 1 else 'tries are'} left.".encode()
            in answer.body
        )
        assert phones.code == code
    assert said == []
    assert b"for the fifth time. A new one stands in the terminal now." in enter(phones, wrong).body
    assert phones.code != code
    assert "A wrong code was entered 5 times, the last from 192.168.1.20." in said[0]
    assert f"{phones.code[:4]} {phones.code[4:]}" in said[1]
    assert enter(phones, code).status == 401
    assert enter(phones, phones.code).status == 303


def test_codes_are_compared_in_constant_time(phones: Phones, monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[bytes, bytes]] = []
    real: Callable[[bytes, bytes], bool] = hmac.compare_digest

    def compare(one: bytes, other: bytes) -> bool:
        compared.append((one, other))
        return real(one, other)

    monkeypatch.setattr(phones_module.hmac, "compare_digest", compare)
    code = phones.code
    enter(phones, "1")
    assert compared == [(b"1", code.encode())]
    token = enter(phones, code).headers["set-cookie"].split(";")[0].partition("=")[2]
    compared.clear()
    ask(phones, client=PHONE, cookie=f"{COOKIE}=guess")
    assert compared == [(b"guess", token.encode())]


def test_tries_come_one_after_the_other_and_few_may_wait(said: list[str]) -> None:
    phones = Phones(lambda: (), 8501, said.append, pause=0.02)

    async def many() -> list[str]:
        return [answer for _, answer in await asyncio.gather(*(phones.enter("1", PHONE) for _ in range(20)))]

    answers = to_the_end(many())
    assert answers.count("Too many codes are being tried. Wait a minute.") == 15


@pytest.mark.parametrize(
    "body", [b"", b"code=", b"code=" + b"1" * 600, b"\xff\xfe", b"code[]=1", "code=１２３４".encode()]
)
def test_a_form_that_is_none_counts_as_a_wrong_code(phones: Phones, body: bytes) -> None:
    answer = ask(phones, client=PHONE, method="POST", path=ENTER, body=body)
    assert answer.status == 401
    assert b"4 tries are left" in answer.body


def test_a_long_form_is_not_read(phones: Phones) -> None:
    body = f"code={phones.code}&more={'1' * LONGEST_FORM}".encode()
    assert ask(phones, client=PHONE, method="POST", path=ENTER, body=body).status == 401
    assert ask(phones, client=PHONE, method="POST", path=ENTER, body=body[:100]).status == 303


def test_the_picture_fills_the_code_in_and_nothing_else_gets_onto_the_page(phones: Phones) -> None:
    assert b'value="12345678"' in ask(phones, client=PHONE, query=b"code=1234+5678").body
    assert b"<script" not in ask(phones, client=PHONE, query=b"code=%22%3E%3Cscript%3E1").body
    assert "<script" not in code_page("<script>", '"><script>')


def test_the_builder_is_told_every_address_and_that_there_may_be_none(said: list[str]) -> None:
    phones = Phones(lambda: (ELSEWHERE, "10.0.0.2"), 8600, said.append)
    phones.announce()
    code = f"{phones.code[:4]} {phones.code[4:]}"
    assert f"open http://{ELSEWHERE}:8600 (or http://10.0.0.2:8600) and enter the code {code}." in said[0]
    Phones(lambda: (), 8600, said.append).announce()
    assert said[1].startswith("This machine is in no network, so no phone can reach it.")


def test_the_picture_holds_address_and_code(monkeypatch: pytest.MonkeyPatch, said: list[str]) -> None:
    drawn: list[str] = []

    def picture(address: str) -> str:
        drawn.append(address)
        return "PICTURE\n"

    monkeypatch.setattr(phones_module, "_picture", picture)
    phones = Phones(lambda: (ELSEWHERE,), 8501, said.append)
    phones.announce()
    assert drawn == [f"http://{ELSEWHERE}:8501/?code={phones.code}"]
    assert said[0].startswith(
        "PICTURE\nOn a phone in the same network point its camera at this picture, or open"
    )


@pytest.mark.parametrize(("headless", "phone"), [(False, False), (True, True)])
def test_when_it_begins_the_browser_opens_and_the_code_is_shown(
    headless: bool, phone: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    options = {"server.port": 8777, "server.headless": headless}
    monkeypatch.setattr(server_module.config, "get_option", options.__getitem__)
    opened_at: list[str] = []
    monkeypatch.setattr(server_module, "open_browser", opened_at.append)
    monkeypatch.setattr(server_module, "own_addresses", lambda: (ELSEWHERE,))
    monkeypatch.setenv(server_module.PHONE, "1" if phone else "")

    async def begin() -> None:
        async with parts()["lifespan"](None):
            pass

    to_the_end(begin())
    assert opened_at == ([] if headless else ["http://127.0.0.1:8777"])
    shown = capsys.readouterr().out
    assert (f"open http://{ELSEWHERE}:8777 and enter the code" in shown) is phone


def test_uploads_and_names_are_limited_in_the_settings_as_well() -> None:
    settings = (Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8")
    assert 'allowedHosts = ["localhost", "127.0.0.1"]' in settings
    assert "maxUploadSize = 25" in settings
