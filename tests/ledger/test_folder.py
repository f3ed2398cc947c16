"""A build's folder, and the demos that are opened as copies."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.ledger import folder as folders
from forecast.ledger.folder import DEMOS, TOP, BuildFolder, demos, open_demo, recent_folders, remember


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


def test_the_twelve_builds_opened_last_are_listed_the_last_one_first(tmp_path: Path) -> None:
    builds = [tmp_path / f"build {number}" / "build.toml" for number in range(13)]
    for file in builds:
        file.parent.mkdir()
        file.touch()
        remember(BuildFolder(file))
    assert [folder.build_file for folder in recent_folders()] == builds[:0:-1]
    remember(BuildFolder(builds[5]))
    assert [folder.build_file for folder in recent_folders()][:2] == [builds[5], builds[12]]
    assert len(recent_folders()) == 12
