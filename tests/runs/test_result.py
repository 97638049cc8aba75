"""result.json and the outcome in words: practice 7.1, 7.2, 7.5."""

import json

from daq.runs.figures import DEFINITIONS, SHOWN
from daq.runs.open_run import open_run
from daq.runs.result import outcome_text, result_of, write_result


def test_result_json_carries_value_unit_uncertainty_and_definition(nominal, tmp_path):
    result = result_of(open_run(nominal().run_end()))
    path = tmp_path / "result.json"
    write_result(result, path)
    read = json.loads(path.read_text(encoding="utf-8"))
    assert read["preliminary"] is True
    assert read["mode"] == "REHEARSAL"
    assert set(read["figures"]) == set(SHOWN)
    for figure in read["figures"].values():
        assert figure["definition"] in DEFINITIONS
        assert figure["definition_text"] == DEFINITIONS[figure["definition"]]
        assert figure["k"] == 2
        assert (figure["value"] is None) == (figure["expanded_uncertainty"] is None)
    impulse = read["figures"]["total_impulse_n_s"]
    assert impulse["unit"] == "N*s"
    assert impulse["expanded_uncertainty"] >= 0.01 * impulse["value"] * (1 - 1e-9)
    assert read["trip"] == {
        "tripped": False,
        "where": None,
        "time_s": None,
        "detection_delay_ms": None,
        "pressure_pa": None,
        "text": "No trip.",
        "burn_went_on": None,
    }
    assert read["gaps"] == []
    assert read["lost"] == {"samples": 0, "bad_frames": 0, "records": 0, "lost_for_good": 0}
    assert read["software"]["name"] == "berm"
    assert not list(tmp_path.glob("*.part"))


def test_the_outcome_text_is_preliminary_aligned_and_in_both_units(nominal):
    text = outcome_text(result_of(open_run(nominal().run_end())))
    lines = text.splitlines()
    assert lines[0].startswith("PRELIMINARY  REHEARSAL  run H-7")
    starts = {line.index(" ± ") > 20 for line in lines if " ± " in line}
    assert starts == {True}
    impulse = next(line for line in lines if line.startswith("Total impulse"))
    assert "N·s = " in impulse
    assert "lbf·s" in impulse
    assert "IT1" in impulse
    assert "Samples: none missing." in lines


def test_no_text_claims_that_anything_stops_a_burn(nominal):
    record = nominal()
    record.at("TRIP", 3_500_000, where="board", pa=5e6, counts=31_000)
    text = outcome_text(result_of(open_run(record.run_end()))).lower()
    assert "does not end a burn" in text or "burned on" in text
    for claim in ("stopped the burn", "stopped the motor", "safe to approach", "is safe"):
        assert claim not in text


def test_a_trip_after_the_fire_names_where_it_was_seen_and_the_limit(nominal):
    record = nominal()
    record.at("TRIP", 3_500_000, where="engine", pa=5e6, counts=31_000, delay_ms=0.75)
    result = result_of(open_run(record.run_end()))
    assert result["trip"]["where"] == "engine"
    assert result["trip"]["detection_delay_ms"] == 0.75
    assert "5 MPa" in result["trip"]["text"]
    assert "psi" in result["trip"]["text"]
