"""Where a ledger lies: network drives by their kind, Windows' network paths, and one build whatever its capitals."""

from __future__ import annotations

import os
import shutil
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest

from forecast.buildfile.reader import build_path
from forecast.ledger import place
from forecast.ledger.folder import BuildFolder
from forecast.ledger.place import database_uri, doubt_about, kind_of_place
from forecast.views.cli import main

ROOT = Path(__file__).parents[2]


@pytest.fixture
def mounts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the list of what is mounted, for a test to write."""
    path = tmp_path / "mountinfo"
    monkeypatch.setattr(place, "_MOUNTS", path)
    return path


def mounted(*drives: tuple[str, str]) -> str:
    return "".join(
        f"{number} 1 0:{number} / {at} rw,relatime shared:1 - {kind} source rw\n"
        for number, (at, kind) in enumerate(drives, start=20)
    )


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "smb3", "9p", "fuse.sshfs", "fuse.davfs2", "fuse.rclone"])
def test_a_network_drive_is_doubted_by_its_kind(kind: str, mounts: Path, tmp_path: Path) -> None:
    home = tmp_path / "with a blank"
    (home / "van").mkdir(parents=True)
    mounts.write_text(mounted(("/", "ext4"), (str(home).replace(" ", r"\040"), kind), ("/proc", "proc")))

    assert kind_of_place(home / "van") == f"a network drive ({kind})"
    assert "Two machines that write there" in doubt_about(home / "van")
    assert doubt_about(tmp_path) == ""


@pytest.mark.parametrize(
    "kind", ["ext4", "btrfs", "xfs", "apfs", "overlay", "tmpfs", "fuseblk", "fuse.ntfs-3g"]
)
def test_a_disk_of_this_machine_is_not(kind: str, mounts: Path, tmp_path: Path) -> None:
    mounts.write_text(mounted(("/", kind)) + "not a line of it\n\n")

    assert doubt_about(tmp_path) == ""


def test_a_disk_in_a_folder_of_a_network_drive_is_told_apart(mounts: Path, tmp_path: Path) -> None:
    drives = [("/", "nfs"), (str(tmp_path), "ext4"), (f"{tmp_path}-other", "nfs")]
    mounts.write_text(mounted(*reversed(drives)))
    assert doubt_about(tmp_path) == ""
    mounts.write_text(mounted(*drives))

    assert doubt_about(tmp_path) == ""
    assert kind_of_place(Path("/")) == "a network drive (nfs)"


def test_where_the_system_does_not_tell_nothing_is_said(mounts: Path, tmp_path: Path) -> None:
    assert doubt_about(tmp_path) == doubt_about(tmp_path / "gone") == ""


def test_the_first_receipt_on_a_network_drive_says_so(
    mounts: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "scenarios" / "before-ordering-ireland", tmp_path / "van")
    mounts.write_text(mounted(("/", "nfs4")))
    enter = [
        "receipt",
        "add",
        str(tmp_path / "van"),
        "--supplier",
        "x",
        "--amount",
        "12",
        "--more-to-come",
        "--sure",
    ]

    assert main([*enter, "--line", "kit_panels"]) == 0
    assert "is on a network drive (nfs4)" in capsys.readouterr().err
    assert main([*enter, "--line", "crate"]) == 0
    assert "network drive" not in capsys.readouterr().err
    assert main(["verify", str(tmp_path / "van")]) == 0
    assert "is on a network drive (nfs4)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("path", "address"),
    [
        (PureWindowsPath(r"\\NAS\builds\van\receipts.db"), "file:////NAS/builds/van/receipts.db"),
        (PureWindowsPath(r"C:\My builds\receipts.db"), "file:///C:/My%20builds/receipts.db"),
        (PurePosixPath("/home/a?b#c/receipts.db"), "file:///home/a%3Fb%23c/receipts.db"),
    ],
)
def test_a_network_path_of_windows_is_a_path_for_the_database(path: PurePosixPath, address: str) -> None:
    assert database_uri(path) == address


def test_capitals_make_no_other_build_where_the_disk_knows_none(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text("")
    os.link(tmp_path / "build.toml", tmp_path / "Build.toml")  # as a disk that tells no capitals shows it

    assert build_path(tmp_path / "Build.toml") == tmp_path / "build.toml" == build_path(tmp_path)
    assert BuildFolder.at(tmp_path / "Build.toml").receipts_db == tmp_path / "receipts.db"


def test_where_capitals_count_there_are_two_builds(tmp_path: Path) -> None:
    (tmp_path / "Build.toml").write_text("a")
    assert build_path(tmp_path / "Build.toml") == tmp_path / "Build.toml"
    (tmp_path / "build.toml").write_text("b")
    if (tmp_path / "Build.toml").read_text() == "b":
        pytest.skip("this disk knows no capitals")

    assert build_path(tmp_path / "Build.toml") == tmp_path / "Build.toml"
    assert BuildFolder.at(tmp_path / "Build.toml").receipts_db == tmp_path / "Build-receipts.db"
