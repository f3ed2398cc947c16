"""A build's folder, and the demos that are opened as copies."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.spending import folder as folders
from forecast.spending.folder import DEMOS, TOP, demos, open_demo


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))


def test_starter_and_demos_stand_where_they_are_looked_for() -> None:
    assert (TOP / "app.py").is_file()
    assert (TOP / ".streamlit" / "config.toml").is_file()
    assert demos() == ("before-ordering-ireland", "by-sea-poland", "half-way-new-zealand")


def test_a_demo_is_copied_as_text_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What somebody tried in the tracked folder is theirs, and never another one's receipts."""
    tried = tmp_path / "scenarios" / "half-way-new-zealand"
    tried.mkdir(parents=True)
    for name in ("build.toml", "receipts.csv"):
        (tried / name).write_bytes((DEMOS / tried.name / name).read_bytes())
    (tried / "receipts.db").write_text("no ledger at all", encoding="utf-8")
    (tried / "attachments").mkdir()
    monkeypatch.setattr(folders, "DEMOS", tmp_path / "scenarios")
    copy = open_demo(tried.name)
    assert len(copy.ledger().list_receipts()) > 10
    made = ("receipts.db", ".lock", "backups")
    left = [path.name for path in copy.folder.iterdir() if not any(name in path.name for name in made)]
    assert sorted(left) == ["build.toml", "receipts.csv"]
