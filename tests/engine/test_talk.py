"""The local socket: private, bounded, never holding up whoever publishes."""

import json
import socket
import stat
import time

import pytest

from daq.engine.talk import MOST_PATH, Talk, is_same_user, new_socket_path, private_folder


@pytest.fixture
def talk():
    made = Talk(new_socket_path())
    made.start()
    yield made
    made.stop()
    made.join(5.0)
    assert not made.is_alive()


def connect(talk):
    line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    line.settimeout(3.0)
    line.connect(str(talk.path))
    return line


def read_line(line):
    data = b""
    while not data.endswith(b"\n"):
        data += line.recv(65536)
    return [json.loads(each) for each in data.splitlines()]


def drain(talk, within_s=3.0):
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        wishes, gone = talk.inbox.drain()
        if wishes or gone:
            return wishes, gone
        time.sleep(0.005)
    raise AssertionError("nothing came")


def test_the_socket_is_private_and_its_path_short(talk):
    assert stat.S_IMODE(talk.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(private_folder().stat().st_mode) == 0o700
    assert len(str(talk.path)) <= MOST_PATH


def test_a_wish_comes_in_and_its_answer_goes_out(talk):
    with connect(talk) as line:
        line.sendall(b'{"wish":"hold","digit":2}\n')
        wishes, _ = drain(talk)
        assert wishes[0].kind == "hold"
        talk.reply(wishes[0].client, False, "No.")
        assert read_line(line) == [{"ok": False, "text": "No."}]


def test_a_wish_in_pieces_is_one_wish(talk):
    with connect(talk) as line:
        for byte in b'{"wish":"safe"}\n':
            line.sendall(bytes([byte]))
        assert drain(talk)[0][0].kind == "safe"


def test_rubbish_is_answered_and_the_line_stays(talk):
    with connect(talk) as line:
        line.sendall(b"rubbish\n")
        assert read_line(line)[0]["ok"] is False
        line.sendall(b'{"wish":"safe"}\n')
        assert drain(talk)[0][0].kind == "safe"


def test_an_endless_line_is_refused_and_forgotten(talk):
    with connect(talk) as line:
        line.sendall(b"x" * 20_000)
        assert "longer" in read_line(line)[0]["text"]


def test_every_client_gets_the_newest_status(talk):
    with connect(talk) as one, connect(talk) as two:
        time.sleep(0.1)
        talk.publish(b'{"n":1}\n')
        assert read_line(one)[-1] == {"n": 1}
        assert read_line(two)[-1] == {"n": 1}


def test_a_client_that_does_not_read_costs_nothing(talk):
    with connect(talk):
        time.sleep(0.1)
        line = json.dumps({"n": 1, "pad": "x" * 8000}).encode() + b"\n"
        started = time.perf_counter()
        for _ in range(2000):
            talk.publish(line)
        assert time.perf_counter() - started < 1.0


def test_a_client_that_goes_is_told(talk):
    connect(talk).close()
    _, gone = drain(talk)
    assert gone == [1]


def test_the_peer_is_of_this_user(talk):
    with connect(talk) as line:
        assert is_same_user(line)
