"""How the file is kept safe while it is written: a write-ahead log, or a rollback journal where the log cannot be trusted.

The log rests on memory shared by all who have the file open, which network drives do not give, and on two files that must never be
copied one without the other, which is what the client of a cloud folder does.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Literal

Journal = Literal["wal", "delete"]

CLOUD_FOLDERS = (
    "box", "box sync", "cloudstorage", "creative cloud files", "dropbox", "google drive", "googledrive", "icloud drive",
    "iclouddrive", "mega", "mobile documents", "my drive", "nextcloud", "onedrive", "owncloud", "pcloud drive", "pclouddrive",
    "seafile", "synologydrive", "tresors", "yandex.disk",
)  # fmt: skip
"""Folders of this name, or of this name and more after " - " or " (", are copied by a client."""

CLOUD_MARKS = (".dropbox", ".stfolder", ".sync", ".owncloudsync.log")
"""Files and folders that clients leave at the top of what they copy."""

NETWORK_KINDS = (
    "9p", "afpfs", "afs", "ceph", "cifs", "davfs", "fuse.davfs2", "fuse.gcsfuse", "fuse.glusterfs", "fuse.rclone", "fuse.s3fs",
    "fuse.sshfs", "glusterfs", "gpfs", "lustre", "ncpfs", "nfs", "nfs3", "nfs4", "prl_fs", "smb2", "smb3", "smbfs", "vboxsf",
    "vmhgfs", "fuse.vmhgfs-fuse", "webdav",
)  # fmt: skip

DRIVE_REMOTE = 4
"""What Windows calls a network drive."""


def pick_journal(path: Path) -> tuple[Journal, str | None]:
    """Choose how the records in a file are kept safe while they are written.

    Parameters
    ----------
    path : Path
        Of the file, which need not be there.

    Returns
    -------
    tuple of str and str or None
        The journal, and what the user should know of the place.
    """
    folder = path.resolve().parent
    cloud = _cloud_folder(folder)
    if cloud is not None:
        return "delete", (
            f"The records lie in '{cloud}', which seems to be copied to other machines. Copies that are made while they are"
            " written may be damaged, and what is erased here stays there: keep the records on this machine and make backups."
        )
    if _is_on_network(folder):
        return "delete", (
            "The records lie on a network drive, where writing is slower and a break of the connection may lose the last entry:"
            " keep the records on this machine and make backups."
        )
    return "wal", None


def _cloud_folder(folder: Path) -> str | None:
    """The name of the folder above that a client copies, if any."""
    for part in (folder, *folder.parents):
        name = part.name.casefold()
        if any(name == known or name.startswith((f"{known} - ", f"{known} (")) for known in CLOUD_FOLDERS):
            return part.name
        if any((part / mark).exists() for mark in CLOUD_MARKS):
            return part.name
    return None


def _is_on_network(folder: Path) -> bool:
    """Whether a folder lies on another machine."""
    if sys.platform == "win32":
        import ctypes

        return str(folder).startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == DRIVE_REMOTE
    return mount_kind(folder, _mounts()) in NETWORK_KINDS


def _mounts() -> str:
    """The mounts of this machine, as the system lists them."""
    try:
        if sys.platform == "darwin":
            listed = subprocess.run(["/sbin/mount"], capture_output=True, text=True, check=False, timeout=5).stdout
            # "//user@server/share on /Volumes/share (smbfs, nodev)": brought into the order of Linux.
            pairs = (line.split(" on ", 1)[-1].split(" (", 1) for line in listed.splitlines())
            return "\n".join(
                f"- {p[0].replace(' ', chr(92) + '040')} {p[1].split(',')[0].rstrip(')')}" for p in pairs if len(p) > 1
            )
        return Path("/proc/self/mounts").read_text(encoding="utf-8", errors="surrogateescape")
    except (OSError, subprocess.SubprocessError):
        return ""


def mount_kind(folder: Path, mounts: str) -> str | None:
    """The kind of file system on which a folder lies.

    Parameters
    ----------
    folder : Path
        Absolute.
    mounts : str
        As in /proc/self/mounts: device, place and kind; the last of two mounts at one place counts.

    Returns
    -------
    str or None
    """
    best, kind = -1, None
    for line in mounts.splitlines():
        parts = line.split()
        if len(parts) < 3:
            continue
        place = Path(parts[1].replace("\\040", " "))
        if folder.is_relative_to(place) and len(place.parts) >= best:
            best, kind = len(place.parts), parts[2].casefold()
    return kind
