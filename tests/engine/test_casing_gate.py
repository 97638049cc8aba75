"""Arming is refused while the casing's trip does not clear; the refusal names the number in the way."""

import shutil

from bench import Bench

from daq.settings_demo import demo_settings


def weaker(folder, old, new):
    casing = folder / "settings" / "casing.toml"
    text = casing.read_text(encoding="utf-8")
    assert old in text
    casing.write_text(text.replace(old, new), encoding="utf-8")


def test_a_casing_that_does_not_clear_cannot_be_armed(tmp_path, monkeypatch):
    demo_settings("fast", tmp_path / "settings")
    weaker(tmp_path, "count = 8", "count = 6")
    kept = tmp_path / "kept"
    shutil.copytree(tmp_path / "settings", kept)
    monkeypatch.setattr("bench.demo_settings", lambda _stand, _out: kept)
    bench = Bench(tmp_path / "day")
    assert bench.plan.redline.refusals
    bench.until(lambda b: b.crew.tally.line == "C1" and b.crew.tally.refusals > 0, 40.0)
    said = bench.state.notices.refusal[1]
    assert "does not clear" in said
    assert "MPa missing" in said
    bench.until(lambda b: b.crew.finished, 60.0)
    assert "ARM" not in bench.phases
    assert not bench.energised()


def test_even_a_signed_list_does_not_arm_it(counting):
    """The gate stands at the edge of ARM too, not only on the checklist line."""
    from dataclasses import replace

    from daq.engine.conditions_now import arming_refusal_now

    plan = counting.state.plan
    counting.state.plan = replace(
        plan, redline=replace(plan.redline, refusals=("trip 4.00 MPa does not clear 4.54 MPa",))
    )
    assert "trip 4.00 MPa does not clear" in arming_refusal_now(counting.state, counting.now_ns)
