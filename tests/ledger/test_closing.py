"""From the record to the ledger, what bars a set-up, and the verb `berm ledger`."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from daq import cli
from daq.assembly.rating import rate
from daq.engine.main import Order, parts_of, plan_of
from daq.engine.plan import DRY, REAL_STAND, REHEARSAL
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from daq.ledger.closing import close_runs, serials_of, unreconciled
from daq.ledger.serials import with_check
from daq.ledger.standing import standing_of, with_life
from daq.ledger.store import Ledger
from daq.settings import load_settings
from daq.settings_demo import demo_settings
from daq.trials.parts import close_site

TODAY = datetime.now(UTC).date()


@pytest.fixture
def site(tmp_path):
    folder = tmp_path / "site"
    demo_settings("fast", folder / "settings", TODAY)
    (folder / "runs").mkdir()
    return folder


@pytest.fixture
def settings(site):
    return load_settings(site / "settings")


@pytest.fixture
def started(site, capsys):
    assert cli.main(["ledger", "start", "--site", str(site), "--by", "Mara"]) == 0
    capsys.readouterr()
    return site


def record(
    site, settings, run, facts, *, mode=REAL_STAND, ended=True, peak_pa=3.9e6, rehearsal=False
):
    """One segment with one run in it."""
    writer = JournalWriter(site / "journal", rehearsal=rehearsal, boot_id="0" * 16)
    writer.start()

    def put(kind, body):
        writer.put(kind, json.dumps(body).encode(), 1)

    put(RecordType.CONFIG, {"mode": mode, "settings": settings.to_json()})
    put(RecordType.RUN, {"run": "begin", "id": run})
    for fact in facts:
        put(RecordType.FACT, {"fact": fact, "t": 1.0})
        put(RecordType.STATUS, {"pressure": {"max_pa": peak_pa}})
    if ended:
        put(RecordType.RUN, {"run": "end", "id": run})
    writer.close()


def entered(site):
    with Ledger(site) as ledger:
        close_runs(site, ledger)
        return [(e.kind, e.facts()) for e in ledger.entries() if "run" in e.facts()]


@pytest.mark.parametrize(
    "facts, ended, kind, outcome",
    [
        (["GO", "LINE_ON", "LIT", "BURN_OUT"], True, "firing", "burnt"),
        (["GO", "LINE_ON", "LIT", "TRIP"], True, "firing", "aborted"),
        (["LIT"], True, "firing", "burnt"),
        (["LIT"], False, "firing", "burnt"),
        (["GO", "LINE_ON"], False, "firing", "unknown"),
        (["GO", "LINE_ON"], True, "misfire", None),
        ([], True, "noted", "not fired"),
    ],
)
def test_a_run_is_what_its_facts_say(started, settings, facts, ended, kind, outcome):
    """design: counted from lit facts and from outcomes unknown; a GO that lit nothing is a misfire."""
    record(started, settings, "R-0001", facts, ended=ended)
    ((found, body),) = entered(started)
    assert found == kind
    assert body.get("outcome") == outcome
    if kind == "firing":
        assert body["over_trip"] == ("TRIP" in facts)
        assert body.get("peak_pa") == (3.9e6 if "LIT" in facts else None)
        assert body["serials"] == ["CA-07", "NZ-05", "FS-21", "HC-03", "OR-2026-02"]
    assert entered(started) == [(found, body)]


@pytest.mark.parametrize("how", ["mode", "flag"])
def test_a_rehearsal_never_reaches_the_ledger(started, settings, how):
    mode = REHEARSAL if how == "mode" else REAL_STAND
    record(started, settings, "H-0001", ["GO", "LIT"], mode=mode, rehearsal=how == "flag")
    assert entered(started) == []
    with Ledger(started) as ledger:
        assert unreconciled(started, ledger) == []


def test_a_go_in_dry_is_none_but_a_burn_in_dry_is_one(started, settings):
    record(started, settings, "D-0001", ["GO", "LINE_ON"], mode=DRY)
    record(started, settings, "D-0002", ["GO", "LIT"], mode=DRY)
    assert [kind for kind, _ in entered(started)] == ["noted", "firing"]


def test_an_unreconciled_run_and_a_part_past_its_rule_bar_the_arming(started, settings):
    standing = standing_of(started, settings, TODAY)
    assert (standing.unreconciled, standing.barred) == ((), ())
    record(started, settings, "R-0001", ["LIT"])
    assert standing_of(started, settings, TODAY).unreconciled == ("R-0001",)
    close_site(started)
    standing = standing_of(started, settings, TODAY)
    assert standing.unreconciled == ()
    assert any("not been inspected since its last cycle" in why for why in standing.barred)
    assert standing.settings.casing.history.firings_seen == 5


def test_the_engine_s_plan_carries_what_bars_it(site, settings):
    order = Order(site=site, mode=REAL_STAND, port="/dev/none")
    bare = parts_of(order, settings)
    assert "no ledger" in bare.barred[0]
    plan = plan_of(order, replace(bare, unreconciled=("R-0001",)), 2, frozenset())
    assert (plan.barred, plan.unreconciled) == (bare.barred, ("R-0001",))
    for mode in (REHEARSAL, DRY):
        told = parts_of(replace(order, mode=mode), settings)
        assert (told.barred, told.unreconciled) == ((), ())


def test_dry_and_real_share_one_set_up_number_after_firings(started, settings):
    """A dry run of the same set-up counts only if the ledger's life is in both."""
    record(started, settings, "R-0001", ["LIT"])
    close_site(started)
    numbers = set()
    for mode in (REAL_STAND, DRY):
        order = Order(site=started, mode=mode, port="/dev/none")
        numbers.add(plan_of(order, parts_of(order, settings), 2, frozenset()).setup_id)
    assert len(numbers) == 1


def test_a_broken_ledger_bars(started, settings):
    (started / "ledger.db").write_bytes(b"no ledger at all")
    assert standing_of(started, settings, TODAY).barred


def test_a_firing_in_the_ledger_never_raises_the_rating(started, settings):
    before = rate(settings.casing).allowable_pa
    for number in range(1, 5):
        record(started, settings, f"R-000{number}", ["LIT"], peak_pa=4.0e6 + number * 1e5)
        close_site(started)
        with Ledger(started) as ledger:
            casing = with_life(settings.casing, ledger.fold().part("CA-07"))
        after = rate(casing).allowable_pa
        assert casing.history.firings_seen == 4 + number
        assert after < before
        before = after


def test_an_over_trip_takes_the_proof_away(started, settings):
    record(started, settings, "R-0001", ["LIT", "TRIP"])
    close_site(started)
    with Ledger(started) as ledger:
        casing = with_life(settings.casing, ledger.fold().part("CA-07"))
    assert not casing.history.proof_tested


def test_real_peaks_join_those_of_the_file(started, settings):
    history = replace(settings.casing.history, peaks_pa=(3.9e6,), wear_peak_pa=4.21e6, hole_kt=3.0)
    casing = replace(settings.casing, history=history)
    record(started, settings, "R-0001", ["LIT"], peak_pa=4.4e6)
    close_site(started)
    with Ledger(started) as ledger:
        ledger.add("heated", {"serial": "CA-07", "at_k": 430.0, "for_s": 20.0}, "Mara")
        lived = with_life(casing, ledger.fold().part("CA-07"))
    assert lived.history.peaks_pa == (3.9e6, 4.4e6)
    assert lived.history.heats[0].at_k == 430.0


def test_serials_of_an_empty_config_are_said_to_be_unknown():
    assert serials_of({}) == ["unknown"]


# ---- the verb

OPTIONS = ("--site", "--by")


def run(capsys, *words):
    """Words first, then the options, whatever order a test gives them in."""
    words = [str(word) for word in words]
    options = [w for at, w in enumerate(words) if w.startswith("--") or words[at - 1] in OPTIONS]
    words = [
        w for at, w in enumerate(words) if not w.startswith("--") and words[at - 1] not in OPTIONS
    ]
    words += options
    code = cli.main(["ledger", *map(str, words)])
    return code, capsys.readouterr()


def test_a_part_s_life_from_the_command_line(started, capsys, tmp_path):
    site = ("--site", started, "--by", "Mara")
    casing = with_check("CA-07")
    code, said = run(
        capsys, "add", *site, "anomaly", f"serial={casing}", "text=scratch at the land"
    )
    assert code == 0
    anomaly = said.out.split()[0]
    code, said = run(capsys, "show", "--site", started, casing)
    assert code == 3
    assert "BARRED: casing CA-07: an anomaly is open: scratch at the land" in said.out
    words = (f"anomaly={anomaly}", "text=polished", 'names=["Mara", "Jon"]')
    assert run(capsys, "add", *site, "closed", *words)[0] == 0
    code, said = run(capsys, "show", "--site", started, casing, "--json")
    assert code == 0
    body = json.loads(said.out)
    assert [e["kind"] for e in body["entries"]] == ["made", "anomaly", "closed"]
    assert body["firings"] == 4
    assert run(capsys, "add", *site, "retired", f"serial={casing}", "reason=old")[0] == 0
    code, said = run(capsys, "list", "--site", started)
    assert "is retired (old)" in said.out
    code, said = run(capsys, "list", "--site", started, "--json")
    assert json.loads(said.out)[0]["serial"] == casing
    out = tmp_path / "ledger.jsonl"
    assert run(capsys, "export", "--site", started, out)[0] == 0
    other = tmp_path / "other"
    with Ledger(other, laptop="elsewhere"):
        pass
    code, said = run(capsys, "import", "--site", other, out)
    assert "8 entries taken in" in said.out
    assert run(capsys, "verify", "--site", other)[0] == 0
    assert run(capsys, "verify", "--site", started, "--json")[0] == 0
    assert run(capsys, "export", "--site", started)[1].out == out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words, says",
    [
        (["add", "--by", "Mara", "anomaly", "serial=CA-70-A", "text=x"], "check character"),
        (["add", "--by", "Mara", "anomaly", "serial=CA-07", "text=x"], "check character"),
        (["add", "anomaly", "serial=CA-07-A", "text=x"], "expected --by NAME"),
        (["add", "--by", "Mara", "party"], "expected one of made"),
        (["add", "--by", "Mara", "anomaly", "text"], "expected NAME=VALUE"),
        (["show"], "expected one serial"),
        (["show", "CA-07"], "check character"),
        (["import"], "expected one file"),
        (["import", "nowhere.jsonl"], "cannot be read"),
    ],
)
def test_wrong_use_is_said_in_a_sentence(started, capsys, words, says):
    code, said = run(capsys, words[0], "--site", started, *words[1:])
    assert code == 2
    assert says in said.err


def test_a_site_without_a_ledger_says_how_to_start_one(site, capsys):
    code, said = run(capsys, "list", "--site", site)
    assert (code, "berm ledger start" in said.err) == (2, True)


def test_close_enters_runs_once_and_the_rating_shows_what_bars(started, settings, capsys):
    record(started, settings, "R-0001", ["LIT", "TRIP"])
    assert "R-0001: firing, aborted" in run(capsys, "close", "--site", started)[1].out
    assert run(capsys, "close", "--site", started)[1].out == ""
    assert cli.main(["rate", "--site", str(started)]) == 3
    said = capsys.readouterr().out
    assert "5 firings seen, NOT proof tested" in said
    assert "BARRED by the ledger: casing CA-07: has been over the trip: quarantined" in said
