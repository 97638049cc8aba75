"""Every scenario is a test through the command: `berm rehearse --scenario NAME` ends as its file expects.

The seven of the main job are played for real, with processes, port and socket, against the wall
clock; every one is played in lockstep. The practice rows are in the scenarios' tags.
"""

import json
import sys
import time

import pytest

from daq import cli
from daq.journal.format import RecordType
from daq.journal.recover import read_folder
from daq.trials.debrief import look
from daq.trials.rehearse import load_scenario
from simulators import scenarios_io

MAIN = ("nominal", "overpressure", "logger-brownout", "misfire-opened", "hang-fire",
        "link-lost-count", "key-out-count")  # fmt: skip


def figures(folder):
    return json.loads((folder / "result.json").read_text(encoding="utf-8"))


def was_starved(folder):
    """The machine stood still for the crew's process: its beat lapsed. Such a day is played again."""
    return "CONSOLE_LOST" in events(folder)


def events(folder):
    return [
        fact.get("event")
        for record in read_folder(folder / "journal").of_kind(RecordType.FACT)
        if (fact := record.json()).get("fact") == "PHASE"
    ]


def truth(folder):
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", scenarios_io.names())
def test_the_day_ends_as_the_scenario_expects(name, tmp_path, capsys):
    code = cli.main(["rehearse", "--virtual", "--scenario", name, "--out", str(tmp_path / "out")])
    said = capsys.readouterr()
    assert code == 0, said.err
    assert not look(tmp_path / "out").line_left_on


@pytest.mark.parametrize("name", ["nominal", "overpressure", "logger-brownout"])
def test_the_slow_board_plays_the_same_days(name, tmp_path, capsys):
    out = tmp_path / "out"
    code = cli.main(
        ["rehearse", "--virtual", "--stand", "avr", "--scenario", name, "--out", str(out)]
    )
    assert code == 0, capsys.readouterr().err


@pytest.mark.parametrize("name", MAIN)
def test_the_main_days_through_processes_and_ports(name, tmp_path, capsys):
    for attempt in ("first", "second"):
        out = tmp_path / attempt
        started = time.monotonic()
        code = cli.main(["rehearse", "--headless", "--scenario", name, "--out", str(out)])
        said = capsys.readouterr()
        if code == 0 or not was_starved(out):
            break
    assert code == 0, said.err
    assert time.monotonic() - started < 90
    for file in ("result.json", "truth.json", "pins.csv", "thrust_pressure.png", "journal"):
        assert (out / file).exists()
    result = figures(out)
    if name in ("nominal", "overpressure", "hang-fire", "logger-brownout"):
        for figure in ("total_impulse_n_s", "peak_thrust_n", "peak_pressure_pa"):
            mine, true = result["figures"][figure], truth(out)["figures"][figure]
            assert abs(mine["value"] - true["value"]) <= mine["expanded_uncertainty"], figure
    if name == "overpressure":
        assert result["outcome"] == "aborted"
        assert result["trip"]["tripped"]
        assert result["trip"]["burn_went_on"]
        assert 0 < result["trip"]["detection_delay_ms"] < 10
        assert "does not end a burn" in said.out
    if name == "nominal":
        assert result["gaps"] == []
        assert result["lost"]["samples"] == 0
        assert result["preliminary"] is True
        assert result["mode"] == "REHEARSAL"


def test_the_loopback_port_does_the_same(tmp_path, capsys):
    out = tmp_path / "out"
    code = cli.main(
        ["rehearse", "--headless", "--tcp", "--scenario", "key-out-count", "--out", str(out)]
    )
    assert code == 0, capsys.readouterr().err


def test_every_scenario_says_what_it_is_about():
    for name in scenarios_io.names():
        scenario = load_scenario(name)
        assert scenario.title
        assert scenario.tags
        assert len(scenario.about) > 20


def test_the_seven_of_the_main_job_are_there():
    names = set(scenarios_io.names())
    for word in (
        "nominal",
        "overpressure",
        "logger-brownout",
        "misfire",
        "hang-fire",
        "link-lost",
        "key-out",
    ):
        assert any(name.startswith(word) for name in names), word


def test_the_list_names_them_all(capsys):
    assert cli.main(["rehearse", "--list"]) == 0
    said = capsys.readouterr().out
    assert all(name in said for name in scenarios_io.names())


# ---- the command line ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code", "sentence"),
    [
        (["rehearse", "--scenario", "picnic", "--headless"], 2, "known are"),
        (["run", "--site", "/nowhere"], 2, "expected"),
        (["recover", "/nowhere"], 1, "/nowhere"),
        (["verify", "/nowhere"], 1, "/nowhere"),
        (["results", "/nowhere"], 2, "expected"),
        (["console", "--site", "/nowhere"], 2, "expected a running engine"),
        (["rate", "--site", "/nowhere"], 2, "expected"),
    ],
)
def test_bad_use_gets_a_sentence_and_an_exit_code(arguments, code, sentence, capsys):
    assert cli.main(arguments) == code
    said = capsys.readouterr()
    assert sentence in said.err
    assert "Traceback" not in said.err


def test_a_folder_with_files_is_never_overwritten(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("keep")
    assert cli.main(["rehearse", "--headless", "--out", str(tmp_path)]) == 2
    assert "new or empty" in capsys.readouterr().err
    assert (tmp_path / "mine.txt").read_text() == "keep"


def test_a_new_site_can_be_rated(tmp_path, capsys):
    site = tmp_path / "site"
    assert cli.main(["new-site", str(site)]) == 0
    assert cli.main(["rate", "--site", str(site)]) == 0
    said = capsys.readouterr().out
    assert "4.78 MPa = 693 psi" in said
    assert cli.main(["rate", "--site", str(site), "--json"]) == 0


def test_a_site_that_does_not_clear_is_refused_naming_the_number(tmp_path, capsys):
    site = tmp_path / "site"
    cli.main(["new-site", str(site)])
    casing = site / "settings" / "casing.toml"
    text = casing.read_text(encoding="utf-8")
    casing.write_text(text.replace("count = 8", "count = 6"), encoding="utf-8")
    assert cli.main(["rate", "--site", str(site)]) == 3
    assert "does not clear" in capsys.readouterr().out


def test_help_imports_nothing_heavy(capsys):
    import subprocess

    code = (
        "import sys; from daq import cli\n"
        "try: cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'PyQt6', 'matplotlib', 'serial', 'pyqtgraph'} & set(sys.modules)\n"
        "sys.exit(len(heavy))"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode
        == 0
    )


@pytest.mark.parametrize(
    "verb",
    [
        "rehearse",
        "run",
        "console",
        "new-site",
        "rate",
        "procedure",
        "check",
        "recover",
        "verify",
        "results",
    ],
)
def test_every_help_shows_one_worked_example(verb, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main([verb, "--help"])
    assert ended.value.code == 0
    assert f"example:  berm {verb}" in capsys.readouterr().out


def test_check_says_what_works_and_shows_every_setting_in_both_units(tmp_path, capsys):
    site = tmp_path / "site"
    cli.main(["new-site", str(site)])
    capsys.readouterr()
    assert cli.main(["check", "--site", str(site), "--settings"]) == 0
    said = capsys.readouterr().out
    assert "trip 4.78 MPa" in said
    assert any("mm" in line and " in" in line for line in said.splitlines())
    assert "psi" in said
    (site / "settings" / "casing.toml").write_text("rubbish", encoding="utf-8")
    assert cli.main(["check", "--site", str(site)]) == 2


def test_without_the_drawing_library_the_figures_still_come(tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "daq.report.picture", None)
    out = tmp_path / "out"
    assert cli.main(["rehearse", "--virtual", "--out", str(out)]) == 0
    assert "not drawn" in capsys.readouterr().out
    assert (out / "result.json").exists()


def test_the_procedure_is_shown(capsys):
    assert cli.main(["procedure"]) == 0
    assert "COUNTDOWN" in capsys.readouterr().out
    assert cli.main(["procedure", "--json"]) == 0


def test_a_record_is_recovered_verified_and_reduced_again(tmp_path, capsys):
    out = tmp_path / "out"
    assert cli.main(["rehearse", "--virtual", "--out", str(out)]) == 0
    run = next((out / "runs").iterdir())
    assert cli.main(["verify", str(run)]) == 0
    assert cli.main(["recover", str(out / "journal"), "--out", str(tmp_path / "clean")]) == 0
    assert cli.main(["results", str(run), "--out", str(tmp_path / "again")]) == 0
    again = figures(tmp_path / "again")["figures"]
    assert again == figures(out)["figures"]
    segment = next(run.glob("*.berm"))
    data = bytearray(segment.read_bytes())
    data[len(data) // 2] ^= 1
    segment.write_bytes(bytes(data))
    capsys.readouterr()
    assert cli.main(["verify", str(run)]) == 1
