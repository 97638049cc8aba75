"""One conformance test over every kind of port; the sender's slots; power as the platform tells it."""

import contextlib
import os
import pty
import socket
import threading
import time
import tty

import pytest

from daq.errors import LinkError
from daq.stand.clock import BREAK_NS, HostClock, ManualClock, SleepWatch
from daq.stand.port import SerialPort
from daq.stand.power import Power, free_bytes, read_power
from daq.stand.tx import Sender, TxSlots


class PtyPeer:
    def __init__(self):
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        self.name = os.ttyname(self.slave)

    def write(self, data):
        os.write(self.master, data)

    def read(self):
        return os.read(self.master, 65536)

    def close(self):
        for fd in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(fd)


class TcpPeer:
    def __init__(self):
        self._server = socket.create_server(("127.0.0.1", 0))
        self.name = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._line = None

    def _connected(self):
        if self._line is None:
            self._line, _ = self._server.accept()
        return self._line

    def write(self, data):
        self._connected().sendall(data)

    def read(self):
        return self._connected().recv(65536)

    def close(self):
        if self._line is not None:
            self._line.close()
        self._server.close()


@pytest.fixture(params=[PtyPeer, TcpPeer])
def pair(request):
    peer = request.param()
    port = SerialPort(peer.name)
    yield port, peer
    port.close()
    peer.close()


def test_bytes_pass_both_ways(pair):
    port, peer = pair
    port.write(b"\x00\x11\x7f\x03\x04")
    assert peer.read() == b"\x00\x11\x7f\x03\x04"
    peer.write(bytes(range(256)))
    got = b""
    until = time.monotonic() + 3
    while len(got) < 256 and time.monotonic() < until:
        got += port.read_some(0.1)
    assert got == bytes(range(256))


def test_silence_is_an_empty_read_in_time(pair):
    port, _ = pair
    started = time.monotonic()
    assert port.read_some(0.05) == b""
    assert time.monotonic() - started < 0.5


def use(port):
    for _ in range(50):
        port.read_some(0.02)
        port.write(b"x")


def test_a_port_that_is_gone_is_a_link_error(pair):
    port, peer = pair
    port.write(b"x")
    peer.read()
    peer.close()
    with pytest.raises(LinkError, match="gone"):
        use(port)


def test_close_may_be_called_twice(pair):
    pair[0].close()
    pair[0].close()


def test_a_port_that_does_not_exist_is_one_sentence():
    with pytest.raises(LinkError, match="port /dev/none: expected"):
        SerialPort("/dev/none")


# ---- sender --------------------------------------------------------------------------------------


def test_urgent_bytes_overtake_and_wipe_what_waits():
    slots = TxSlots()
    slots.put(b"go")
    slots.put_periodic("grip", b"grip")
    slots.put_urgent(b"safe")
    assert slots.take(0) == b"safe"
    assert slots.take(0) == b""


def test_only_the_newest_periodic_frame_of_a_kind_is_sent():
    slots = TxSlots()
    for n in range(5):
        slots.put_periodic("grip", bytes([n]))
    slots.put(b"order")
    assert slots.take(0) == b"order\x04"


def test_a_dead_line_is_told_and_nothing_old_is_kept():
    slots, lost = TxSlots(), []

    def write(_data):
        raise LinkError("gone")

    sender = Sender(slots, write, lost.append)
    slots.put(b"order")
    sender.start()
    until = time.monotonic() + 2
    while not lost and time.monotonic() < until:
        time.sleep(0.01)
    sender.stop()
    sender.join(2.0)
    assert lost == ["gone"]
    assert slots.take(0) == b""


def test_a_stalled_line_does_not_hold_up_whoever_leaves_frames():
    slots, go = TxSlots(), threading.Event()
    sender = Sender(slots, lambda _data: go.wait(5.0), lambda _why: None)
    sender.start()
    slots.put(b"first")
    started = time.perf_counter()
    for n in range(1000):
        slots.put_periodic("ping", bytes([n % 256]))
    assert time.perf_counter() - started < 0.5
    go.set()
    sender.stop()
    sender.join(2.0)


# ---- clocks and power ----------------------------------------------------------------------------


def test_a_step_moves_the_host_clock_forward():
    clock = HostClock()
    before = clock.now_ns()
    clock.step(100.0)
    assert clock.now_ns() - before >= 100 * 10**9
    manual = ManualClock(5)
    manual.step(1e-9)
    assert manual.now_ns() == 6


def test_sleep_shows_as_a_difference_of_two_clocks():
    watch = SleepWatch()
    assert watch.blind_s(0, 0) == 0.0
    assert watch.blind_s(1000, 1000 + BREAK_NS - 1) == 0.0
    assert watch.blind_s(2000, 2000 + 11 * 10**9) == pytest.approx(10.9, abs=0.2)


def test_power_is_read_from_what_the_platform_lists(tmp_path):
    battery, mains = tmp_path / "BAT0", tmp_path / "AC"
    battery.mkdir()
    mains.mkdir()
    (battery / "capacity").write_text("17\n")
    (mains / "online").write_text("0\n")
    power = read_power(tmp_path)
    assert power == Power(percent=17, mains=False)
    assert not power.is_enough
    (mains / "online").write_text("1\n")
    assert read_power(tmp_path).is_enough
    assert read_power(tmp_path / "none") == Power(percent=None, mains=None)


def test_free_space_of_nowhere_is_nil(tmp_path):
    assert free_bytes(tmp_path) > 0
    assert free_bytes(tmp_path / "a" / "b") == 0
