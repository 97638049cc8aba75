"""The client against a socket that stalls, talks nonsense and goes away."""

import json
import socket
import time

import pytest

from daq.console.client import EngineClient


class FakeEngine:
    """Listens, keeps every wish, pushes what it is told; shared by the window's tests."""

    def __init__(self, folder):
        self.path = str(folder / "s")
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.bind(self.path)
        self._listener.listen(4)
        self._listener.settimeout(2)
        self.peer = None
        self._unread = b""

    def accept(self):
        self.peer, _ = self._listener.accept()
        self.peer.settimeout(0.2)

    def push(self, body):
        self.peer.sendall(json.dumps(body).encode() + b"\n")

    def wishes(self, *kinds):
        """All wishes so far, of the kinds asked for."""
        self.peer.setblocking(False)
        try:
            while chunk := self.peer.recv(1 << 16):
                self._unread += chunk
        except BlockingIOError:
            pass
        *whole, self._unread = self._unread.split(b"\n")
        found = [json.loads(line) for line in whole]
        return [wish for wish in found if not kinds or wish["wish"] in kinds]

    def close(self):
        if self.peer:
            self.peer.close()
        self._listener.close()


@pytest.fixture
def engine(tmp_path):
    made = FakeEngine(tmp_path)
    yield made
    made.close()


class Hand:
    """A clock moved by hand, in seconds."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return int(self.now_s * 1e9)


def connected(engine, **more):
    client = EngineClient(engine.path, **more)
    engine.accept()
    return client


def test_it_says_hello_and_asks_for_control(engine):
    client = connected(engine)
    assert engine.wishes() == [{"wish": "hello", "who": "console", "control": True}]
    client.close()


def test_the_newest_status_wins_and_replies_stand_apart(engine):
    client = connected(engine)
    assert client.poll() is None
    engine.push({"ok": True, "text": ""})
    engine.push({"n": 4, "phase": "SAFE"})
    engine.push({"ok": False, "text": "ARM refused: key is out."})
    engine.push({"n": 5, "phase": "SAFE"})
    assert client.poll() == {"n": 5, "phase": "SAFE"}
    assert client.seen == 5
    assert list(client.replies) == [{"ok": False, "text": "ARM refused: key is out."}]
    client.close()


def test_the_answer_to_hello_tells_who_is_in_control(engine):
    client = connected(engine)
    assert client.in_control is None
    engine.push({"ok": False, "text": "Another console is in control."})
    client.poll()
    assert client.in_control is False
    assert not client.replies
    client.close()


def test_a_wish_carries_the_newest_number_seen(engine):
    client = connected(engine)
    engine.push({"n": 9, "phase": "HOLD"})
    client.poll()
    client.beat(grip=True, painted_n=8)
    client.wish({"wish": "enter", "code": "1234"})
    assert engine.wishes("beat", "enter") == [
        {"seen": 9, "wish": "beat", "painted_n": 8, "grip": True},
        {"seen": 9, "wish": "enter", "code": "1234"},
    ]
    client.close()


def test_nonsense_and_half_lines_do_no_harm(engine):
    client = connected(engine)
    engine.peer.sendall(b'\xff\xfe{]\n[1,2]\n{"n":1,"pha')
    assert client.poll() is None
    engine.peer.sendall(b'se":"SAFE"}\n')
    assert client.poll() == {"n": 1, "phase": "SAFE"}
    client.close()


def test_a_stalled_engine_never_blocks_and_gets_no_old_beats(engine):
    client = connected(engine)
    start = time.monotonic()
    for number in range(20_000):
        client.beat(grip=True, painted_n=number)
    assert time.monotonic() - start < 2.0
    assert len(client._unsent) < 4096
    client.close()


def test_a_lost_engine_is_seen_wishes_are_dropped_but_abort_is_kept(engine):
    clock = Hand()
    client = connected(engine, clock=clock)
    engine.peer.close()
    client.poll()
    assert not client.alive
    client.wish({"wish": "enter"})
    client.wish({"wish": "abort"})
    clock.now_s += 2.0
    client.poll()
    engine.accept()
    assert client.alive
    assert [wish["wish"] for wish in engine.wishes()] == ["hello", "abort"]
    client.close()


def test_no_engine_at_all_is_no_crash(tmp_path):
    client = EngineClient(tmp_path / "nobody")
    assert client.poll() is None
    client.beat(grip=False, painted_n=-1)
    assert not client.alive


def test_a_wish_too_long_is_refused_here(engine):
    client = connected(engine)
    with pytest.raises(ValueError, match="4096"):
        client.wish({"wish": "mark", "text": "x" * 5000})
    client.close()
