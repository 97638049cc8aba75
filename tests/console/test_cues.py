"""Sounds: which, when, how long, and which may never be off (practice 3.28)."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scenes import COUNT, NOW_NS, SCENES, SECOND_NS, Scene, with_

from daq.console.cues import CUES, NEVER_OFF, RATE_HZ, Cues, samples

MS = 1_000_000


def view(name, **changes):
    scene = SCENES[name]
    return Scene(name=name, status=with_(scene.status, **changes), age_s=scene.age_s).view()


@pytest.mark.parametrize("cue", CUES)
def test_each_wave_has_its_length_and_soft_ends(cue):
    wave = np.frombuffer(samples(cue), dtype="<i2")
    assert len(wave) == sum(int(tone.length_s * RATE_HZ) for tone in CUES[cue])
    assert abs(int(wave[0])) < 100
    assert abs(int(wave[-1])) < 2500
    assert np.abs(wave).max() > 10_000


def test_the_last_ten_seconds_are_counted_once_each_and_the_last_three_higher():
    cues, heard = Cues(), []
    for ms in range(0, 11_500, 50):
        left = 11.0 - ms / 1000
        heard += cues.of(view("2-count-armed", clock={"seconds": max(0.0, left)}), NOW_NS + ms * MS)
    assert heard == ["second"] * 7 + ["last seconds"] * 3


def test_a_standing_clock_is_silent():
    assert Cues().of(view("9-hold", clock={"seconds": 5.0}), NOW_NS) == []


def test_phases_have_their_cues():
    cues = Cues()
    cues.of(view("2-count-armed"), 0)
    assert cues.of(view("3-fire"), 1) == []
    assert cues.of(view("4-burn"), 2) == ["lit"]
    assert cues.of(view("4-burn-near-trip"), 3) == ["near trip"]
    assert cues.of(view("10-wait"), 4) == ["burn-out"]
    assert cues.of(view("6-rehearsal-review"), 5) == ["wait over"]
    cues = Cues()
    cues.of(view("2-count-armed"), 0)
    assert "hold" in cues.of(view("9-hold"), 1)
    cues.of(view("3-fire"), 2)
    assert cues.of(view("10-misfire"), 3) == ["misfire"]


def alarm_seconds(name, seconds):
    """Whole seconds after the alarm began in which its sound starts."""
    cues, found = Cues(), set()
    shown = view(name)
    for ms in range(0, seconds * 1000, 100):
        if "alarm" in cues.of(shown, NOW_NS + ms * MS):
            found.add(ms // 1000)
    return found


def test_an_abort_sounds_for_thirty_seconds_and_comes_back_until_answered():
    heard = alarm_seconds("5-abort-open-alarm", 95)
    assert heard >= set(range(30))
    assert not heard & set(range(34, 59))
    assert heard & set(range(60, 64))
    assert alarm_seconds("5-abort-wait", 40) == set()


def test_a_stale_screen_sounds_for_three_seconds_every_thirty():
    assert alarm_seconds("7-stale", 62) == {0, 1, 2, 30, 31, 32, 60, 61}


def test_abort_stale_and_misfire_cannot_be_switched_off():
    assert {"alarm", "misfire"} == NEVER_OFF
    assert "alarm" in Cues().of(view("7-stale"), NOW_NS + SECOND_NS)
    assert COUNT["phase"] == "COUNTDOWN"
