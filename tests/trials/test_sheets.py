"""`berm rate` on a casing file, on an example stand and on a site."""

import json

import pytest

from daq import cli
from daq.settings_demo import config_root, demo_settings

CASE_A = config_root() / "casings" / "case_a.toml"


@pytest.fixture
def site(tmp_path):
    demo_settings("fast", tmp_path / "site" / "settings")
    return tmp_path / "site"


def test_a_casing_file_alone_is_rated_without_a_trip(capsys):
    assert cli.main(["rate", str(CASE_A)]) == 0
    said = capsys.readouterr().out
    assert "<< governs" in said
    assert "No trip: it belongs to a stand and a motor" in said
    assert "travel" in said
    assert "Stand-off" not in said


def test_with_a_stand_the_trip_and_the_stand_off_follow(capsys, site):
    for where in (["--stand", "avr"], ["--site", str(site)]):
        assert cli.main(["rate", str(CASE_A), *where]) == 0
        said = capsys.readouterr().out
        assert "TRIP (as indicated)" in said
        assert "19 CCR 1036(f)" in said


def test_json_holds_rating_trip_and_movement(capsys, site):
    assert cli.main(["rate", "--site", str(site), "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["rating"]["allowable_mode"] == "fastener bearing"
    assert body["redline"]["trip_pa"] == pytest.approx(4.78e6, abs=5e3)
    assert body["movement"][0]["land_m"] == pytest.approx(3e-3)
    assert body["refusals"] == []


def test_a_refused_casing_ends_with_three_and_says_why(capsys, tmp_path):
    weak = tmp_path / "weak.toml"
    text = CASE_A.read_text(encoding="utf-8")
    weak.write_text(text.replace("edge_to_hole_centre_mm = 12.0", "edge_to_hole_centre_mm = 9.0"))
    assert cli.main(["rate", str(weak)]) == 3
    assert "1.41 diameters from the edge" in capsys.readouterr().out


def test_local_rules_of_a_site_stand_beside_the_others(capsys, site):
    (site / "settings" / "local_rules.toml").write_text(
        '[[rules]]\nname = "club"\nwho = "crew"\nsource = "club order"\nedition = "2026"\n'
        "rows = [{ impulse_n_s = 5000, distance_m = 400 }]\n",
        encoding="utf-8",
    )
    assert cli.main(["rate", "--site", str(site)]) == 0
    assert "club order, 2026" in capsys.readouterr().out


def test_conventions_are_shown_on_demand(capsys):
    assert cli.main(["rate", "--conventions"]) == 0
    assert "UG-99(b)" in capsys.readouterr().out
