"""``forecast app``: which server is started, and for whom."""

from __future__ import annotations

import ipaddress
import socket
import subprocess
from pathlib import Path

import pytest

from forecast.spending.folder import DEMOS
from forecast.views.cli import main
from forecast.views.commands.app import PORT, free_port, own_address

DEMO = DEMOS / "before-ordering-ireland"


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Note what would be started."""
    found: list[list[str]] = []

    def call(arguments: list[str], cwd: Path) -> int:
        assert (cwd / "app.py").exists()
        found.append(arguments)
        return 0

    monkeypatch.setattr(subprocess, "call", call)
    return found


def test_it_listens_on_this_machine_alone_unless_it_is_asked(started: list[list[str]]) -> None:
    assert main(["app", str(DEMO), "--port", "8600"]) == 0
    (arguments,) = started
    assert "--server.port=8600" in arguments
    assert not any("address" in argument for argument in arguments)
    assert arguments[-2:] == ["--", str(DEMO / "build.toml")]
    settings = (Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8")
    assert 'address = "127.0.0.1"' in settings


def test_a_phone_is_told_where_and_the_builder_who_else_can(
    started: list[list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["app", "--phone"]) == 0
    (arguments,) = started
    assert "--server.address=0.0.0.0" in arguments
    assert f"--browser.serverAddress={own_address()}" in arguments
    said = capsys.readouterr().out
    (port,) = (argument.partition("=")[2] for argument in arguments if argument.startswith("--server.port="))
    assert f"http://{own_address()}:{port}" in said
    assert "Whoever is in that network can open and change the build" in said


def test_the_address_is_one_of_a_network() -> None:
    assert ipaddress.IPv4Address(own_address())


def test_a_broken_build_is_told_before_anything_starts(
    started: list[list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text("[bild]\n", encoding="utf-8")
    assert main(["app", str(tmp_path)]) == 2
    assert started == []
    assert "unknown key 'bild'" in capsys.readouterr().err


def test_a_port_that_is_taken_is_said_and_passed_over_where_none_was_asked_for(
    started: list[list[str]], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
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


def test_the_first_start_asks_nobody_for_an_address_and_recommends_nothing(started: list[list[str]]) -> None:
    settings = (Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8")
    assert "showEmailPrompt = false" in settings
    assert main(["app"]) == 0
    assert "--logger.hideWelcomeMessage=true" in started[0]
