"""Who does not belong is kept out of a dashboard that really runs, by a browser that really tries."""

from __future__ import annotations

import http.client
import http.server
import os
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from forecast.views.addresses import own_addresses
from tests.browser.conftest import BEFORE, Dashboards, Opener, _chromium, settled

ROOT = Path(__file__).parents[2]
TITLE = "Where does it stand?"


def upgrade(address: str, **headers: str) -> int:
    """Ask for a WebSocket as a program does, and give the status of the answer: 101 where it opens."""
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=60)
    asked = {
        "Host": parts.netloc, "Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    } | headers  # fmt: skip
    connection.putrequest("GET", "/_stcore/stream", skip_host=True)
    for name, value in asked.items():
        connection.putheader(name, value)
    connection.endheaders()
    status = connection.getresponse().status
    connection.close()
    return status


def fetch(address: str, path: str = "/", **headers: str) -> tuple[int, str]:
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=60)
    connection.request("GET", path, headers={"Host": parts.netloc} | headers)
    answer = connection.getresponse()
    text = answer.read().decode("utf-8", "replace")
    connection.close()
    return answer.status, text


@contextmanager
def foreign_page(html: str) -> Iterator[str]:
    """Serve a page as another program on this machine would, and give its address."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(html.encode())

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@pytest.fixture
def stranger(browser_: Browser) -> Iterator[Page]:
    """Give a page of the same browser that nothing is asserted about."""
    context = browser_.new_context()
    yield context.new_page()
    context.close()


def test_a_foreign_name_that_leads_here_shows_nothing(
    dashboards: Dashboards, untouched: str, tmp_path: Path
) -> None:
    port = urlsplit(dashboards.start(untouched)).port
    # Started in a process of its own: the tests' browser has no such map.
    script = tmp_path / "rebind.py"
    script.write_text(
        "import sys\n"
        "from playwright.sync_api import sync_playwright\n"
        "with sync_playwright() as playwright:\n"
        "    browser = playwright.chromium.launch(executable_path=sys.argv[1], args=['--no-sandbox',\n"
        "        '--host-resolver-rules=MAP evil.example 127.0.0.1'])\n"
        "    page = browser.new_page()\n"
        "    page.goto(sys.argv[2])\n"
        "    page.wait_for_selector('h1', timeout=60_000)\n"
        "    print(page.inner_text('body'))\n"
        "    browser.close()\n",
        encoding="utf-8",
    )
    address = f"http://evil.example:{port}/"
    told = subprocess.run(
        [sys.executable, str(script), _chromium(), address],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    ).stdout
    assert "The dashboard does not answer here" in told
    assert f"Open it at http://127.0.0.1:{port} instead." in told
    assert TITLE not in told


def test_a_foreign_host_is_refused_whatever_asks(dashboards: Dashboards, untouched: str) -> None:
    address = dashboards.start(untouched)
    host = urlsplit(address).netloc
    assert upgrade(address) == upgrade(address, Origin=address) == 101
    assert upgrade(address, Host="evil.example") == 403
    assert upgrade(address, Host="evil.example", Origin="http://evil.example") == 403
    assert upgrade(address, Origin="http://evil.example") == 403
    for path in ("/", "/_stcore/health", "/_stcore/host-config", "/lines"):
        assert fetch(address, path)[0] == 200
        assert fetch(address, path, Host="evil.example")[0] == 403
        assert fetch(address, path, Host=host, Origin="http://evil.example")[0] == 403


def test_a_page_of_another_program_on_this_machine_cannot_drive_it(
    dashboards: Dashboards, untouched: str, stranger: Page
) -> None:
    address = dashboards.start(untouched)
    with foreign_page("<h1>elsewhere</h1>") as other:
        stranger.goto(other)
        opened = stranger.evaluate(
            """address => new Promise(done => {
                const socket = new WebSocket(address.replace("http", "ws") + "/_stcore/stream", ["streamlit"]);
                socket.onopen = () => done("open");
                socket.onerror = () => done("refused");
            })""",
            address,
        )
        assert opened == "refused"
        read = "address => fetch(address + '/_stcore/health').then(answer => answer.text(), () => 'refused')"
        assert stranger.evaluate(read, address) == "refused"


def test_it_cannot_be_framed_and_can_be_linked_to(
    dashboards: Dashboards, untouched: str, stranger: Page
) -> None:
    address = dashboards.start(untouched)
    with foreign_page(
        f'<h1>elsewhere</h1><iframe src="{address}"></iframe><a href="{address}">go</a>'
    ) as other:
        stranger.goto(other)
        stranger.wait_for_timeout(3_000)
        (frame,) = [frame for frame in stranger.frames if frame is not stranger.main_frame]
        assert frame.url.startswith("chrome-error:")
        stranger.click("a")
        expect(stranger.get_by_role("heading", level=1, name=TITLE)).to_be_visible(timeout=60_000)


def test_a_script_that_got_into_a_page_does_not_run_and_nothing_is_sent_elsewhere(
    visit: Opener, untouched: str
) -> None:
    page = visit(untouched)
    settled(page)
    planted = """() => {
        const script = document.createElement("script");
        script.textContent = "window.hurt = true";
        const picture = document.createElement("div");
        picture.innerHTML = "<img src=x onerror='window.hurt = true'>";
        document.body.append(script, picture);
        return new Promise(done => setTimeout(() => done(window.hurt === true), 500));
    }"""
    assert page.evaluate(planted) is False
    with foreign_page("taken") as other:
        assert (
            page.evaluate("there => fetch(there, {mode: 'no-cors'}).then(() => 'sent', () => 'held')", other)
            == "held"
        )


def test_a_file_over_the_limit_is_refused_in_words_and_by_the_server(
    visit: Opener, copies: dict[str, str], tmp_path: Path
) -> None:
    page = visit(copies[BEFORE], at="receipts")
    settled(page)
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "PUT" else None)
    field = page.locator("[data-testid='stFileUploaderDropzoneInput']").first
    picture = b"\x89PNG\r\n\x1a\n"
    large = tmp_path / "large.png"
    large.write_bytes(picture + b"0" * 26_500_000)
    field.set_input_files(large)
    expect(page.get_by_text(re.compile("must be 25.*MB or smaller"))).to_be_visible()
    assert sent == []
    with page.expect_request(lambda request: request.method == "PUT") as asked:
        field.set_input_files({"name": "small.png", "mimeType": "image/png", "buffer": picture})
    expect(page.get_by_text("small.png")).to_be_visible()
    settled(page)
    # Past the page, straight to the server, as a program would.
    url, headers = asked.value.url, asked.value.all_headers()
    kept = {name: value for name, value in headers.items() if name in ("x-xsrftoken", "cookie", "origin")}
    for size, status in ((10, 204), (27_000_000, 413)):
        head = b'--x\r\nContent-Disposition: form-data; name="file"; filename="f"\r\nContent-Type: image/png\r\n\r\n'
        body = head + b"0" * size + b"\r\n--x--\r\n"
        assert put(url, body, kept | {"Content-Type": "multipart/form-data; boundary=x"}) == status


def put(url: str, body: bytes, headers: dict[str, str]) -> int:
    """Send a body piece by piece, and give what the server answers, though it may not hear all of it out."""
    parts = urlsplit(url)
    with closing(http.client.HTTPConnection(parts.netloc, timeout=60)) as connection:
        connection.putrequest("PUT", parts.path)
        for name, value in (headers | {"Content-Length": str(len(body))}).items():
            connection.putheader(name, value)
        connection.endheaders()
        for begin in range(0, len(body), 2**18):
            if select.select([connection.sock], [], [], 0.01 if begin else 0)[0]:
                break  # it has answered already
            connection.send(body[begin : begin + 2**18])
        with connection.getresponse() as answer:
            return answer.status


def free() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def command(tmp_path: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], int, Path]]:
    """Run ``forecast app`` as a builder does, and give it, its port, and the file with what it says."""
    port, log = free(), tmp_path / "said.txt"
    with log.open("w") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "forecast", "app", "--port", str(port), *options], cwd=tmp_path, text=True,
            env=os.environ | {"FORECAST_HOME": str(tmp_path / "home"), "STREAMLIT_SERVER_HEADLESS": "true"},
            stdout=said, stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
    try:
        for _ in range(300):
            with suppress(OSError):
                fetch(f"http://127.0.0.1:{port}", "/_stcore/health")
                break
            time.sleep(0.1)
        yield process, port, log
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def told_code(log: Path) -> str:
    codes = re.findall(r"enter the code (\d{4} \d{4})\.", log.read_text(encoding="utf-8"))
    return str(codes[-1])


def test_a_phone_is_let_in_by_the_code_and_by_nothing_else(
    tmp_path: Path, untouched: str, stranger: Page, browser_: Browser
) -> None:
    addresses = own_addresses()
    if not addresses:
        pytest.skip("this machine is in no network")
    with command(tmp_path, untouched, "--phone") as (_, port, log):
        here, there = f"http://127.0.0.1:{port}", f"http://{addresses[0]}:{port}"
        assert there in log.read_text(encoding="utf-8")
        assert upgrade(here) == 101
        assert upgrade(there) == 403
        pages = {fetch(there, path) for path in ("/", "/lines", "/none", "/_stcore/health", "/build.toml")}
        ((status, page),) = pages
        assert status == 401
        assert TITLE not in page
        code = told_code(log)
        stranger.goto(f"{there}/lines")
        stranger.get_by_label("Code").fill("1")
        stranger.get_by_role("button", name="Open the dashboard").click()
        expect(stranger.get_by_role("alert")).to_have_text("That is not the code. 4 tries are left.")
        stranger.get_by_label("Code").fill(code)
        stranger.get_by_role("button", name="Open the dashboard").click()
        expect(stranger.get_by_role("heading", level=1, name=TITLE)).to_be_visible(timeout=60_000)
        stranger.goto(f"{there}/start")
        expect(stranger.get_by_role("heading", level=1)).to_be_visible(timeout=60_000)
        settled(stranger)
        assert told_code(log) != code
        assert upgrade(there) == 403
        context = browser_.new_context()
        other = context.new_page()
        other.goto(f"{there}/?code={code.replace(' ', '')}")
        other.get_by_role("button", name="Open the dashboard").click()
        expect(other.get_by_role("alert")).to_have_text("That is not the code. 4 tries are left.")
        context.close()


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_ending_the_command_ends_the_server(
    tmp_path: Path, untouched: str, stranger: Page, number: signal.Signals
) -> None:
    with command(tmp_path, untouched) as (process, port, log):
        stranger.goto(f"http://127.0.0.1:{port}")  # somebody looks at it meanwhile
        expect(stranger.get_by_role("heading", level=1, name=TITLE)).to_be_visible(timeout=60_000)
        if number == signal.SIGINT:
            os.killpg(process.pid, number)  # as a terminal does
        else:
            process.send_signal(number)
        assert process.wait(timeout=20) == 0
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", port)) != 0
        assert log.read_text(encoding="utf-8").count("\n") == 1  # nothing but where it is


NAMESPACE = """
import http.client, os, socket, subprocess, sys, threading, time
from tests.browser.test_intruders import fetch, upgrade
from forecast.views.addresses import own_addresses

asked = []
resolver = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
resolver.bind(("127.0.0.1", 53))
def listen():
    while True:
        asked.append(resolver.recvfrom(2048)[0])  # and never answers
threading.Thread(target=listen, daemon=True).start()
try:
    socket.getaddrinfo("probe.example", 80)
except OSError:
    pass
assert asked, "the resolver is not the one that is asked"
asked.clear()
assert own_addresses() == ("192.168.77.5",), own_addresses()  # no way leads elsewhere

server = subprocess.Popen([sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless=true",
    "--server.port=8600", "--", sys.argv[1]])
address = "http://127.0.0.1:8600"
for _ in range(300):
    try:
        fetch(address, "/_stcore/health")
        break
    except OSError:
        time.sleep(0.1)
begun = time.monotonic()
for origin in ("http://evil.example", "http://evil.example:8600", "null"):
    assert upgrade(address, Origin=origin) == 403
    assert upgrade(address, Host="evil.example", Origin=origin) == 403
    assert fetch(address, "/_stcore/health", Origin=origin)[0] == 403
assert upgrade(address, Origin=address) == 101
assert fetch(address, "/_stcore/host-config", Origin=address)[0] == 200
took = time.monotonic() - begun
server.terminate()
server.wait(timeout=20)
assert not asked, asked
assert took < 3, took
print("nobody was asked")
"""


@pytest.mark.skipif(sys.platform != "linux", reason="network namespaces of Linux")
def test_nobody_is_asked_for_this_machines_own_address(tmp_path: Path, untouched: str) -> None:
    """In a network of its own whose resolver notes what it is asked and never answers."""
    if subprocess.run(["unshare", "-rnmpf", "true"], capture_output=True).returncode:
        message = "no network namespace can be had here"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    names, script = tmp_path / "resolv.conf", tmp_path / "inside.py"
    names.write_text("nameserver 127.0.0.1\noptions timeout:1 attempts:1\n", encoding="utf-8")
    script.write_text(NAMESPACE, encoding="utf-8")
    inside = (
        "ip link set lo up && ip addr add 192.168.77.5/24 dev lo"
        f" && mount --bind {names} /etc/resolv.conf && exec {sys.executable} {script} {untouched}"
    )
    done = subprocess.run(
        ["unshare", "-rnmpf", "--kill-child", "sh", "-c", inside], cwd=ROOT, capture_output=True, text=True,
        timeout=180,
        env=os.environ | {"PYTHONPATH": str(ROOT), "FORECAST_HOME": str(tmp_path / "home")},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nobody was asked" in done.stdout
