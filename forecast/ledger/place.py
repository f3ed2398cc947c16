"""Where a ledger lies: on a disk of this machine, or where other machines write too and locks do not hold."""

from __future__ import annotations

import os
import re
import stat
import sys
from pathlib import Path, PurePath

from forecast.tables.files import read_regular

_NETWORK = frozenset(
    ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ncpfs", "ceph", "glusterfs", "lustre", "davfs", "webdav")
)  # fmt: skip
"""File systems that reach another machine, as Linux calls them."""
_FUSE_NETWORK = re.compile(
    r"fuse\.(?:\w*ssh\w*|\w*dav\w*|\w*ftp\w*|\w*clone\w*|gluster\w*|ceph\w*|\w*drive\w*)"
)
_CLOUD, _CLOUD_MASK = (
    0x9000001A,
    0xFFFF0FFF,
)  # IO_REPARSE_TAG_CLOUD and its kin, from Windows' headers (from memory)
_REMOTE = 4  # DRIVE_REMOTE, from the same
_MOUNTS, _LARGEST = Path("/proc/self/mountinfo"), 10_000_000

ADVICE = (
    "Two machines that write there at the same time can damage the ledger, and its newest entries may come over late "
    "or not at all: keep the build on a disk of this machine, and carry a backup over (forecast backup)."
)


def database_uri(path: PurePath) -> str:
    """Give the address by which SQLite opens a file; in Windows' network paths the machine is a part of the path.

    Parameters
    ----------
    path : pathlib.PurePath
        Absolute.
    """
    address = path.as_uri()
    # SQLite takes what stands behind two strokes for a host, and opens none but this machine's own.
    return address if address.startswith("file:///") else f"file:////{address.removeprefix('file://')}"


def kind_of_place(folder: Path) -> str:
    """Say in words what is doubtful about a folder for a ledger; empty for a disk of this machine.

    What cannot be found out is not said: a folder that a program of its own copies to other machines looks like any.
    """
    folder = folder.absolute()
    try:
        folder = folder.resolve()
        if folder.drive.startswith("\\\\") or _is_remote_drive(folder):
            return "a network drive"
        if _is_kept_elsewhere(folder):
            return "a disk that is kept in step with another machine"
    except OSError:
        return ""
    kind = _file_system(folder)
    return f"a network drive ({kind})" if kind in _NETWORK or _FUSE_NETWORK.fullmatch(kind) else ""


def doubt_about(folder: Path) -> str:
    """Say in a sentence or two why a ledger should lie elsewhere; empty where it lies well."""
    kind = kind_of_place(folder)
    return f"{folder} is on {kind}. {ADVICE}" if kind else ""


def _file_system(folder: Path) -> str:
    """Give the kind of file system that a folder is on, where Linux tells."""
    try:
        lines = read_regular(_MOUNTS, _LARGEST).decode("utf-8", "surrogateescape").splitlines()
    except OSError:
        return ""
    found, longest = "", -1
    for line in lines:
        before, dash, after = line.partition(" - ")
        parts = before.split()
        if not dash or len(parts) < 5:
            continue
        mounted = Path(re.sub(r"\\(\d{3})", lambda code: chr(int(code[1], 8)), parts[4]))
        if (mounted == folder or mounted in folder.parents) and len(mounted.parts) >= longest:
            found, longest = after.split()[0], len(mounted.parts)
    return found


def _is_remote_drive(folder: Path) -> bool:
    if sys.platform != "win32":
        return False
    import ctypes

    return bool(ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == _REMOTE)


def _is_kept_elsewhere(folder: Path) -> bool:
    """Tell whether the system itself keeps a folder in step with another machine."""
    if sys.platform == "darwin":
        home = Path.home() / "Library"
        return any(home / name in (folder, *folder.parents) for name in ("CloudStorage", "Mobile Documents"))
    tag = getattr(os.lstat(folder), "st_reparse_tag", 0)
    return bool(tag & _CLOUD_MASK == _CLOUD & _CLOUD_MASK) and stat.S_ISDIR(os.stat(folder).st_mode)


__all__ = ["ADVICE", "database_uri", "doubt_about", "kind_of_place"]
