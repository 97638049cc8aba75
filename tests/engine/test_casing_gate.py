"""Arming is refused while the casing's trip does not clear; the refusal names the number in the way."""

from bench import Bench


def weaker(settings):
    """Six screws instead of eight."""
    casing = settings / "casing.toml"
    text = casing.read_text(encoding="utf-8")
    assert "count = 8" in text
    casing.write_text(text.replace("count = 8", "count = 6"), encoding="utf-8")


def test_a_casing_that_does_not_clear_cannot_be_armed(tmp_path):
    bench = Bench(tmp_path, edit=weaker)
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
