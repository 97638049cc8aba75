"""The file calls of this machine, and what is asked of them."""

import os
import sys

import pytest

from daq.journal import files
from daq.journal.files import FreeSpace, RealFs, sync_fd
from tests.journal.disks import Bad, DyingFs, ManualClock


def test_a_file_is_new_appended_and_synced(tmp_path):
    fs = RealFs()
    fs.make_folder(tmp_path / "a" / "b")
    path = tmp_path / "a" / "b" / "x"
    file = fs.create(path)
    assert file.write(b"one") == 3
    file.sync()
    assert file.write(b"two") == 3
    file.close()
    fs.sync_folder(path.parent)
    assert path.read_bytes() == b"onetwo"
    with pytest.raises(FileExistsError):
        fs.create(path)
    fs.discard(path)
    fs.discard(path)
    assert not path.exists()
    assert fs.free_bytes(tmp_path) > 0


def test_a_sync_is_fdatasync_where_there_is_one_and_fsync_elsewhere(tmp_path, monkeypatch):
    called = []
    monkeypatch.setattr(files.sys, "platform", "linux")
    monkeypatch.setattr(os, "fdatasync", lambda fd: called.append("fdatasync"), raising=False)
    monkeypatch.setattr(os, "fsync", lambda fd: called.append("fsync"))
    sync_fd(0)
    monkeypatch.delattr(os, "fdatasync")
    sync_fd(0)
    assert called == ["fdatasync", "fsync"]


def test_a_folder_is_not_synced_on_windows(tmp_path, monkeypatch):
    monkeypatch.setattr(files.sys, "platform", "win32")
    files.sync_folder(tmp_path / "nowhere")
    monkeypatch.setattr(files.sys, "platform", "linux" if sys.platform == "win32" else sys.platform)


def test_free_space_is_looked_up_seldom_and_may_be_unknown(tmp_path):
    fs = DyingFs(ManualClock())
    space = FreeSpace(fs, tmp_path)
    assert space.minutes is None
    space.look(0)
    assert space.minutes == 100.0
    fs.always = Bad.EIO
    space.look(1_000_000_000)
    assert space.nbytes == 720_000_000
    space.look(5_000_000_000)
    assert space.nbytes is None
    assert space.minutes is None
