"""The few file calls the writer needs, as a protocol, so that a failing disk can be handed in.

`RealFs` is the disk of this machine. A sync returns when the data are on the medium as far as the
operating system can tell; no function here tries anything twice.
"""

import contextlib
import os
import shutil
import sys
from pathlib import Path
from typing import Final, Protocol

_NEW_FILE: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)

_LOOK_NS: Final = 5_000_000_000
_DESIGN_RATE: Final = (
    120_000  # bytes per second: 25 kB/s of data and a 4 KiB block 20 times a second
)


class StoreFile(Protocol):
    """A file being written. Every call may raise OSError."""

    def write(self, data: bytes) -> int:
        """Append; returns how many bytes were taken, which may be fewer than given."""
        ...

    def sync(self) -> None:
        """Return when everything written so far is on the medium."""
        ...

    def close(self) -> None: ...


class Fs(Protocol):
    """What the writer asks of a disk. Every call may raise OSError."""

    def make_folder(self, folder: Path) -> None: ...

    def create(self, path: Path) -> StoreFile:
        """A new, empty file; FileExistsError if there is one."""
        ...

    def discard(self, path: Path) -> None:
        """Remove a file that never got as far as a whole header."""
        ...

    def sync_folder(self, folder: Path) -> None:
        """Return when the names in this folder are on the medium."""
        ...

    def free_bytes(self, folder: Path) -> int: ...


class RealFile:
    def __init__(self, path: Path) -> None:
        self._fd = os.open(path, _NEW_FILE, 0o644)

    def write(self, data: bytes) -> int:
        return os.write(self._fd, data)

    def sync(self) -> None:
        sync_fd(self._fd)

    def close(self) -> None:
        os.close(self._fd)


class RealFs:
    def make_folder(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)

    def create(self, path: Path) -> StoreFile:
        return RealFile(path)

    def discard(self, path: Path) -> None:
        path.unlink(missing_ok=True)

    def sync_folder(self, folder: Path) -> None:
        sync_folder(folder)

    def free_bytes(self, folder: Path) -> int:
        return shutil.disk_usage(folder).free


class FreeSpace:
    """How much fits on the disk of a folder, looked up every 5 s: a lookup may hang as a sync may."""

    def __init__(self, fs: Fs, folder: Path) -> None:
        self._fs = fs
        self._folder = folder
        self._looked_ns: int | None = None
        self.nbytes: int | None = None

    def look(self, now_ns: int) -> None:
        if self._looked_ns is None or now_ns - self._looked_ns >= _LOOK_NS:
            self._looked_ns = now_ns
            try:
                self.nbytes = self._fs.free_bytes(self._folder)
            except OSError:
                self.nbytes = None

    @property
    def minutes(self) -> float | None:
        return None if self.nbytes is None else self.nbytes / _DESIGN_RATE / 60


def sync_fd(fd: int) -> None:
    """Put the data of an open file on the medium by the strongest call this system has."""
    if sys.platform == "darwin":
        import fcntl

        with contextlib.suppress(OSError):  # not every file system there knows it
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
            return
    getattr(os, "fdatasync", os.fsync)(fd)


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on the medium. Windows cannot open a folder: names sync with files."""
    if sys.platform == "win32":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
