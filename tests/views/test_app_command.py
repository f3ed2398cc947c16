"""``forecast app``: which server is started, and for whom."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import ifaddr
import pytest

from forecast.ledger.folder import DEMOS
from forecast.views.addresses import PHONE, own_addresses
from forecast.views.cli import main
from forecast.views.commands import app as app_module
from forecast.views.commands.app import PORT, free_port

DEMO = DEMOS / "before-ordering-ireland"


@dataclass
class Start:
    """What would be started, and with which variables."""

    arguments: list[str]
    variables: dict[str, str]


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[Start]:
    """Note what would be started."""
    found: list[Start] = []

    class Server:
        def __init__(self, arguments: list[str], cwd: Path, env: dict[str, str]) -> None:
            assert (cwd / "app.py").exists()
            found.append(Start(arguments, env))

        def wait(self) -> int:
            return 0

    monkeypatch.setattr(subprocess, "Popen", Server)
    return found


def test_it_listens_on_this_machine_alone_unless_it_is_asked(
    started: list[Start], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PHONE, "1")  # left over from elsewhere
    assert main(["app", str(DEMO), "--port", "8600"]) == 0
    (start,) = started
    assert "--server.port=8600" in start.arguments
    assert not any("address" in argument for argument in start.arguments)
    assert start.arguments[-2:] == ["--", str(DEMO / "build.toml")]
    assert PHONE not in start.variables
    settings = (Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8")
    assert 'address = "127.0.0.1"' in settings


def test_for_a_phone_it_listens_in_the_network_and_answers_to_its_addresses(
    started: list[Start], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("forecast.views.commands.app.own_addresses", lambda: ("192.168.1.7", "10.0.0.2"))
    monkeypatch.setenv("FORWARDED_ALLOW_IPS", "*")
    assert main(["app", "--phone"]) == 0
    (start,) = started
    assert "--server.address=0.0.0.0" in start.arguments
    names = [argument.partition("=")[2] for argument in start.arguments if "allowedHosts" in argument]
    assert names == ["localhost", "127.0.0.1", "192.168.1.7", "10.0.0.2"]
    assert start.variables[PHONE] == "1"
    assert (
        start.variables["FORWARDED_ALLOW_IPS"] == "127.0.0.1"
    )  # else a phone could say that it is this machine


def cards(monkeypatch: pytest.MonkeyPatch, *addresses: str | tuple[str, int, int], towards: str = "") -> None:
    """Give this machine other network cards, and the address from which others elsewhere are reached."""
    found = [ifaddr.Adapter("card", "card", [ifaddr.IP(address, 24, "card")]) for address in addresses]
    monkeypatch.setattr(ifaddr, "get_adapters", lambda: found)
    monkeypatch.setattr("forecast.views.addresses._address_towards_elsewhere", lambda: towards)


def test_the_addresses_are_those_of_its_network_cards_the_likeliest_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen = (
        "127.0.0.1",
        "169.254.3.4",
        ("fe80::1", 0, 2),
        "172.17.0.1",
        "10.8.0.3",
        "192.168.1.7",
        "192.168.1.7",
    )
    cards(monkeypatch, *seen, towards="192.168.1.7")
    assert own_addresses() == ("192.168.1.7", "10.8.0.3", "172.17.0.1")
    cards(monkeypatch, "127.0.0.1", "172.17.0.1", "192.168.1.7")  # no way leads elsewhere
    assert own_addresses() == ("192.168.1.7", "172.17.0.1")
    cards(monkeypatch, "127.0.0.1", ("::1", 0, 0))
    assert own_addresses() == ()


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_server_that_does_not_end_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "_PATIENCE", 0.3)
    ready = tmp_path / "ready"
    code = (
        "import pathlib, signal, sys, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        "pathlib.Path(sys.argv[1]).touch(); time.sleep(30)"
    )

    def end_it() -> None:
        while not ready.exists():
            time.sleep(0.02)
        os.kill(os.getpid(), signal.SIGTERM)

    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    threading.Thread(target=end_it).start()
    begun = time.monotonic()
    assert app_module._run([sys.executable, "-c", code, str(ready)], dict(os.environ)) == 0
    assert time.monotonic() - begun < 20
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_server_that_fails_is_no_success() -> None:
    assert app_module._run([sys.executable, "-c", "raise SystemExit(3)"], dict(os.environ)) == 3


def test_a_broken_build_is_told_before_anything_starts(
    started: list[Start], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text("[bild]\n", encoding="utf-8")
    assert main(["app", str(tmp_path)]) == 2
    assert started == []
    assert "unknown key 'bild'" in capsys.readouterr().err


def test_a_port_that_is_taken_is_said_and_passed_over_where_none_was_asked_for(
    started: list[Start], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        assert main(["app", "--port", str(taken)]) == 2
        assert f"--port {taken}: nothing can listen there." in capsys.readouterr().err
        monkeypatch.setattr("forecast.views.commands.app.PORT", taken)
        assert free_port(None) > taken
    assert started == []
    assert main(["app", "--port", "99999"]) == 2
    assert PORT == 8501  # Streamlit's own, so that an address noted down stays the same


def test_the_first_start_asks_nobody_for_an_address_and_recommends_nothing(started: list[Start]) -> None:
    settings = (Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8")
    assert "showEmailPrompt = false" in settings
    assert main(["app"]) == 0
    assert "--logger.hideWelcomeMessage=true" in started[0].arguments
