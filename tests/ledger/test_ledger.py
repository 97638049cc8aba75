"""Serials, entries, the fold and its rules, and the file that keeps them."""

import json
import random
import sqlite3
import subprocess
import sys
import time
from datetime import date
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.ledger.events import LedgerError
from daq.ledger.fold import Fold, Told
from daq.ledger.serials import LETTERS, check_character, stem_of, with_check
from daq.ledger.store import HEAD, NAME, Ledger

TODAY = date(2026, 9, 14)
ROOT = Path(__file__).resolve().parents[2]
STEMS = st.text(LETTERS, min_size=1, max_size=8)


@pytest.fixture
def ledger(tmp_path):
    with Ledger(tmp_path) as opened:
        opened.add(
            "made",
            {"serial": "CA-07", "type": "casing", "rules": {"firings_allowed": 3}},
            "Mara",
        )
        yield opened


def barred(ledger, serial="CA-07"):
    return ledger.fold().part(serial).barred(TODAY)


def fire(ledger, run, **more):
    return ledger.add(
        "firing",
        {"serials": ["CA-07"], "run": run, "outcome": "burnt", "peak_pa": 3.9e6, **more},
        "berm",
    )


def inspect(ledger, passed=True):
    return ledger.add(
        "inspected", {"serial": "CA-07", "passed": passed, "found": "nothing"}, "Mara"
    )


# ---- serials


def test_check_character_of_the_published_example():
    """ISO 7064 MOD 37,36, the example of a recording identifier: A1-2425G-ABC1234002-M. From memory."""
    assert check_character("A1-2425G-ABC1234002") == "M"


@given(STEMS, st.integers(0, 7), st.sampled_from(LETTERS))
def test_one_wrong_character_is_always_found(stem, at, wrong):
    full = with_check(stem)
    at %= len(stem)
    if stem[at] == wrong:
        assert stem_of(full) == stem
        return
    with pytest.raises(ValueError, match="does not belong"):
        stem_of(full[:at] + wrong + full[at + 1 :])


def test_a_serial_is_refused_in_a_sentence():
    assert stem_of(with_check("CA-07").lower()) == "CA-07"
    with pytest.raises(ValueError, match="expected letters, digits and hyphens, got 'Ä'"):
        check_character("CÄ")
    for bad in ("", "CA-07", "CA07"):
        with pytest.raises(ValueError, match="serial"):
            stem_of(bad)


# ---- fold and rules


def test_a_new_part_may_be_chosen_and_an_unknown_one_may_not(ledger):
    assert barred(ledger) == []
    assert "not in the ledger" in barred(ledger, "CA-08")[0]


def test_firings_count_and_the_last_one_bars(ledger):
    for number in (1, 2, 3):
        fire(ledger, f"R-000{number}")
        inspect(ledger)
        part = ledger.fold().part("CA-07")
        assert part.firings == number
        assert bool(part.barred(TODAY)) == (number == 3)
    assert any("3 firings seen, 3 allowed" in why for why in barred(ledger))


def test_next_use_needs_an_inspection_after_the_last_cycle(ledger):
    """Practice 5.10."""
    inspect(ledger)
    fire(ledger, "R-0001")
    assert any("not been inspected since" in why for why in barred(ledger))
    inspect(ledger, passed=False)
    assert any("did not pass its last inspection" in why for why in barred(ledger))
    inspect(ledger)
    assert barred(ledger) == []


def test_the_same_run_is_written_once(ledger):
    first = ledger.add(
        "firing",
        {"serials": ["CA-07"], "run": "R-1", "outcome": "burnt"},
        "berm",
        name="R-1/firing",
    )
    again = ledger.add(
        "firing",
        {"serials": ["CA-07"], "run": "R-1", "outcome": "burnt"},
        "berm",
        name="R-1/firing",
    )
    assert first == again
    assert ledger.fold().part("CA-07").firings == 1


def test_over_trip_quarantines_until_a_proof_is_passed(ledger):
    fire(ledger, "R-0001", over_trip=True)
    inspect(ledger)
    assert any("quarantined" in why for why in barred(ledger))
    ledger.add(
        "proof",
        {"serials": ["CA-07"], "passed": True, "peak_pa": 6.5e6, "temperature_k": 290.0},
        "Mara",
    )
    inspect(ledger)
    assert barred(ledger) == []
    part = ledger.fold().part("CA-07")
    assert part.proof_valid
    assert (part.cycles, part.peaks_pa) == (2, [3.9e6, 6.5e6])


def test_a_failed_proof_is_for_ever(ledger):
    for passed in (False, True):
        ledger.add(
            "proof",
            {"serials": ["CA-07"], "passed": passed, "peak_pa": 6e6, "temperature_k": 290.0},
            "Mara",
        )
    inspect(ledger)
    assert any("failed a proof test" in why for why in barred(ledger))
    assert not ledger.fold().part("CA-07").proof_valid


def test_an_open_anomaly_bars_until_two_people_close_it(ledger):
    opened = ledger.add("anomaly", {"serial": "CA-07", "text": "scratch at the land"}, "Mara")
    assert any("scratch at the land" in why for why in barred(ledger))
    with pytest.raises(LedgerError, match="two distinct names"):
        ledger.add(
            "closed", {"anomaly": opened.id, "text": "polished", "names": ["Mara", "Mara"]}, "Mara"
        )
    with pytest.raises(LedgerError, match="names no anomaly"):
        ledger.add("closed", {"anomaly": "x", "text": "polished", "names": ["Mara", "Jon"]}, "Mara")
    ledger.add(
        "closed", {"anomaly": opened.id, "text": "polished", "names": ["Mara", "Jon"]}, "Mara"
    )
    assert barred(ledger) == []


def test_a_retirement_is_final(ledger):
    """Practice 5.11: no un-retire, not by a correction, not by making the part anew."""
    gone = ledger.add("retired", {"serial": "CA-07", "reason": "crack"}, "Mara")
    for kind, facts, says in (
        ("correction", {"replaces": gone.id, "reason": "no crack", "body": None}, "final"),
        (
            "correction",
            {"replaces": gone.id, "reason": "x", "body": {"serial": "CA-08", "reason": "y"}},
            "final",
        ),
        ("made", {"serial": "CA-07", "type": "casing"}, "used once"),
    ):
        with pytest.raises(LedgerError, match=says):
            ledger.add(kind, facts, "Mara")
    forged = [Told("1", "", "retired", {"serial": "CA-07", "reason": "crack"}),
              Told("2", "", "correction", {"replaces": "1", "reason": "x", "body": None})]  # fmt: skip
    assert Fold(forged).part("CA-07").retired == "crack"


def test_corrections_replace_and_withdraw_but_never_hide_what_happened(ledger):
    fired = fire(ledger, "R-0001", over_trip=True)
    inspect(ledger)
    typo = ledger.add(
        "measured", {"serial": "CA-07", "what": "hole", "value": 0.64, "unit": "m"}, "Mara"
    )
    fixed = ledger.add(
        "correction",
        {
            "replaces": typo.id,
            "reason": "typed in cm",
            "body": {"serial": "CA-07", "what": "hole", "value": 0.0064, "unit": "m"},
        },
        "Mara",
    )
    assert ledger.fold().part("CA-07").readings[0].value == 0.0064
    ledger.add(
        "correction", {"replaces": fixed.id, "reason": "not measured at all", "body": None}, "Mara"
    )
    assert ledger.fold().part("CA-07").readings == []
    same = {"serials": ["CA-07"], "run": "R-0001", "outcome": "burnt", "over_trip": True}
    for body, says in (
        (None, "cannot be withdrawn"),
        ({**same, "over_trip": False}, "over-trip stays"),
        ({**same, "serials": ["CA-09"]}, "CA-07 took part"),
        ({**same, "run": "R-0002"}, "run of a firing stays"),
        ({"run": "R-0001"}, "expected serials"),
    ):
        with pytest.raises(LedgerError, match=says):
            ledger.add("correction", {"replaces": fired.id, "reason": "x", "body": body}, "Mara")
    ledger.add(
        "correction",
        {"replaces": fired.id, "reason": "peak", "body": {**same, "peak_pa": 4.0e6}},
        "Mara",
    )
    assert ledger.fold().part("CA-07").peaks_pa == [4.0e6]


def test_a_failed_proof_cannot_be_corrected_into_a_pass(ledger):
    body = {"serials": ["CA-07"], "passed": False, "peak_pa": 6e6, "temperature_k": 290.0}
    failed = ledger.add("proof", body, "Mara")
    with pytest.raises(LedgerError, match="stays failed"):
        ledger.add(
            "correction",
            {"replaces": failed.id, "reason": "x", "body": {**body, "passed": True}},
            "Mara",
        )


def test_growth_past_its_limit_voids_the_prediction(ledger):
    ledger.add(
        "made",
        {"serial": "NZ-05", "type": "nozzle", "rules": {"throat_growth_limit": 0.02}},
        "Mara",
    )
    for value, grown in ((0.0180, False), (0.0183, False), (0.0184, True)):
        ledger.add(
            "measured",
            {"serial": "NZ-05", "what": "throat", "value": value, "unit": "m", "when": "after"},
            "Mara",
        )
        assert any("prediction is void" in why for why in barred(ledger, "NZ-05")) == grown


def test_a_sensor_loses_its_calibration(ledger):
    ledger.add("made", {"serial": "PT-1", "type": "sensor"}, "Mara")
    ledger.add("calibrated", {"serial": "PT-1", "valid_until": "2026-09-13"}, "Mara")
    assert any("ended on 2026-09-13" in why for why in barred(ledger, "PT-1"))
    ledger.add("calibrated", {"serial": "PT-1", "valid_until": "2027-09-13"}, "Mara")
    assert barred(ledger, "PT-1") == []
    ledger.add("abused", {"serial": "PT-1", "how": "dropped"}, "Mara")
    assert any("calibration is lost: dropped" in why for why in barred(ledger, "PT-1"))


@pytest.mark.parametrize(
    "kind, facts, says",
    [
        ("party", {}, "expected one of made"),
        ("made", {"serial": "X", "type": "spoon"}, "expected type as one of casing"),
        ("made", {"type": "casing"}, "expected serial as a text, got None"),
        ("inspected", {"serial": "CA-07", "passed": 1, "found": "x"}, "expected passed as true or false"),
        ("measured", {"serial": "CA-07", "what": "hole", "value": True, "unit": "m"}, "value as a number"),
        ("inspected", {"serial": "CA-99", "passed": True, "found": "x"}, "make it first"),
        ("anomaly", {"serial": "CA-07", "text": " "}, "got an empty text"),
        ("firing", {"serials": [], "run": "R-1", "outcome": "burnt"}, "expected serials"),
        ("correction", {"replaces": "nothing", "reason": "x"}, "names no entry"),
    ],
)  # fmt: skip
def test_a_refused_entry_says_why_and_leaves_no_trace(ledger, kind, facts, says):
    before = ledger.export()
    with pytest.raises(LedgerError, match=says):
        ledger.add(kind, facts, "Mara")
    with pytest.raises(LedgerError, match="who writes it"):
        ledger.add("made", {"serial": "Y", "type": "casing"}, " ")
    assert ledger.export() == before


# ---- the file


def test_triggers_refuse_to_change_or_delete(ledger):
    base = sqlite3.connect(ledger.path)
    for statement in ("UPDATE entries SET kind = 'x'", "DELETE FROM entries"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            base.execute(statement)
    base.close()


def test_views_say_the_same_as_the_fold(ledger):
    fire(ledger, "R-0001")
    typo = ledger.add(
        "measured", {"serial": "CA-07", "what": "hole", "value": 1, "unit": "m"}, "Mara"
    )
    ledger.add("correction", {"replaces": typo.id, "reason": "x", "body": None}, "Mara")
    base = sqlite3.connect(ledger.path)
    rows = base.execute("SELECT serial, firings, cycles, retired FROM parts").fetchall()
    lives = base.execute("SELECT kind FROM life WHERE serial = 'CA-07' ORDER BY seq").fetchall()
    base.close()
    assert rows == [("CA-07", 1, 1, 0)]
    assert [kind for (kind,) in lives] == ["made", "firing"]


def test_a_chain_that_was_tampered_with_is_found(ledger, tmp_path):
    fire(ledger, "R-0001")
    fire(ledger, "R-0002")
    assert ledger.verify() == []
    base = sqlite3.connect(ledger.path)
    base.execute("DROP TRIGGER entries_stay")
    base.execute("UPDATE entries SET body = replace(body, 'R-0001', 'R-0009')")
    base.commit()
    base.close()
    wrong = ledger.verify()
    assert any("bytes are not those that were written" in text for text in wrong)
    assert any("triggers" in text for text in wrong)


def test_a_shortened_ledger_is_found(ledger):
    fire(ledger, "R-0001")
    base = sqlite3.connect(ledger.path)
    base.execute("DROP TRIGGER entries_last")
    base.execute("DELETE FROM entries WHERE number = 2")
    base.commit()
    base.close()
    assert any("it is not in this file" in text for text in ledger.verify())
    (ledger.path.parent / HEAD).unlink()
    assert any("ledger.head is missing" in text for text in ledger.verify())


def test_a_changed_byte_anywhere_is_found_or_changes_nothing(tmp_path):
    """Every entry's text is covered: what verify lets pass reads back exactly as it was."""
    with Ledger(tmp_path) as ledger:
        ledger.add("made", {"serial": "CA-07", "type": "casing"}, "Mara")
        for number in range(12):
            fire(ledger, f"R-{number}")
        before = ledger.export()
    good = (tmp_path / NAME).read_bytes()
    texts = [line.split('"body":"')[1][:20].encode() for line in before.splitlines()]
    spots = random.Random(7).sample(range(len(good)), 250)
    spots += [good.index(b"R-7") + 2, good.index(b"Mara"), good.index(b"append-only")]
    found = 0
    for spot in spots:
        bent = bytearray(good)
        bent[spot] ^= 1 << (spot % 8)
        (tmp_path / NAME).write_bytes(bent)
        try:
            with Ledger(tmp_path) as ledger:
                wrong, after = ledger.verify(), None if ledger.verify() else ledger.export()
        except LedgerError:
            wrong, after = ["cannot be opened"], None
        found += bool(wrong)
        assert wrong or after == before
    assert found > 50
    assert texts


def test_laptops_exchange_their_chains(tmp_path):
    with Ledger(tmp_path / "a", laptop="one") as a, Ledger(tmp_path / "b", laptop="two") as b:
        a.add("made", {"serial": "CA-07", "type": "casing"}, "Mara")
        assert b.take_in(a.export()) == 1
        b.add("retired", {"serial": "CA-07", "reason": "crack"}, "Jon")
        assert a.take_in(b.export()) == 1
        assert a.take_in(b.export()) == 0
        assert a.fold().part("CA-07").retired == b.fold().part("CA-07").retired == "crack"
        assert a.verify() == b.verify() == []


def test_an_import_is_whole_or_nothing(tmp_path):
    with Ledger(tmp_path / "a", laptop="one") as a, Ledger(tmp_path / "b", laptop="one") as b:
        a.add("made", {"serial": "CA-07", "type": "casing"}, "Mara")
        b.add("made", {"serial": "CA-08", "type": "casing"}, "Mara")
        with pytest.raises(LedgerError, match="two histories of one laptop"):
            b.take_in(a.export())
        with Ledger(tmp_path / "c", laptop="three") as c:
            bent = a.export().replace("CA-07", "CA-70")
            with pytest.raises(LedgerError, match="not those that were written"):
                c.take_in(bent)
            with pytest.raises(LedgerError, match="line 2 is no entry"):
                c.take_in(a.export() + "{\n")
            assert c.export() == ""


def test_a_clock_set_back_does_not_turn_the_order_of_one_laptop_round(tmp_path):
    times = iter([f"2026-09-1{day}T00:00:00.000000Z" for day in (4, 2)])
    with Ledger(tmp_path / "a", laptop="one", clock=lambda: next(times)) as a:
        a.add("made", {"serial": "CA-07", "type": "casing"}, "Mara")
        inspect(a, passed=False)
        with Ledger(tmp_path / "b", laptop="two", clock=lambda: "2026-09-13T00:00:00.000000Z") as b:
            b.add("made", {"serial": "CA-08", "type": "casing"}, "Jon")
            b.take_in(a.export())
            assert not b.fold().part("CA-07").inspection_passed
            assert b.fold().part("CA-07").type == "casing"


def test_one_hundred_thousand_entries_open_and_fold(tmp_path):
    with Ledger(tmp_path, laptop="one") as ledger:
        ledger.add("made", {"serial": "CA-07", "type": "casing"}, "Mara")
    base = sqlite3.connect(tmp_path / NAME)
    body = json.dumps(
        {"outcome": "burnt", "peak_pa": 3.9e6, "run": "R-0001", "serials": ["CA-07", "NZ-05"]}
    )
    base.executemany(
        "INSERT INTO entries VALUES (?, ?, 'one', ?, '2026-09-14T00:00:00.000000Z', 'berm', 'firing', ?, '', '')",
        ((n, f"{n:032x}", n, body) for n in range(2, 100_001)),
    )
    base.commit()
    base.close()
    with Ledger(tmp_path, laptop="one") as ledger:
        part = ledger.fold().part("CA-07")
    assert part.firings == 99_999


ADDER = """
import sys
from pathlib import Path
from daq.ledger.store import Ledger
with Ledger(Path(sys.argv[1])) as ledger:
    for number in range(100000):
        entry = ledger.add("made", {"serial": f"P-{sys.argv[2]}-{number}", "type": "closure"}, "Mara")
        print(entry.id, flush=True)
"""


def test_kill_9_at_random_instants_loses_no_acknowledged_entry(tmp_path):
    """A short slice; BERM_LEDGER_KILLS in the environment asks for more."""
    import os

    chance, acknowledged = random.Random(3), []
    for turn in range(int(os.environ.get("BERM_LEDGER_KILLS", "4"))):
        adder = subprocess.Popen(
            [sys.executable, "-c", ADDER, str(tmp_path), str(turn)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        first = adder.stdout.readline().strip()
        time.sleep(chance.uniform(0.0, 0.15))
        adder.kill()
        rest = adder.stdout.read()
        whole = rest.rpartition("\n")[0].split()
        adder.stdout.close()
        adder.wait()
        acknowledged += [first, *whole]
        with Ledger(tmp_path) as ledger:
            there = {entry.id for entry in ledger.entries()}
            assert set(acknowledged) <= there
            assert ledger.verify() == []
    assert len(acknowledged) > 4


@given(st.lists(st.sampled_from(["R-1", "R-2", "R-3"]), max_size=6), st.booleans())
def test_more_entries_never_make_a_part_less_barred_by_its_count(runs, over):
    told = [
        Told("0", "", "made", {"serial": "C", "type": "casing", "rules": {"firings_allowed": 3}})
    ]
    last = 0
    for number, run in enumerate(runs):
        told.append(
            Told(
                str(number + 1),
                "",
                "firing",
                {"serials": ["C"], "run": run, "outcome": "burnt", "over_trip": over},
            )
        )
        part = Fold(told).part("C")
        assert part.firings == last + 1
        last = part.firings


def test_sums_are_plain_sha256(ledger):
    """A second road to the sum, from the stored text alone."""
    (entry,) = ledger.entries()
    told = [entry.previous, entry.id, entry.laptop, 1, entry.utc, "Mara", "made", entry.body]
    text = "\x1f".join(str(part) for part in told)
    assert entry.sum == sha256(text.encode()).hexdigest()
