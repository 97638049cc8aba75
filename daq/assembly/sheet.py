"""The rating and the redline as text for the terminal and as plain values for the record."""

from typing import Any

from daq.assembly.movement import Movement
from daq.assembly.rating import Rating
from daq.assembly.redline import Redline
from daq.settings_table import as_json
from daq.units import from_si


def _mpa(pressure: float) -> str:
    return f"{pressure / 1e6:.2f}"


def _both(pressure: float) -> str:
    return f"{_mpa(pressure)} MPa = {from_si(pressure, 'psi'):.0f} psi"


def rating_text(rating: Rating) -> str:
    """Table of all modes; the governing one and the rated burst are marked."""
    proof = "proof tested" if rating.proof_tested else "NOT proof tested"
    wide = max(len(mode.name) for mode in rating.modes)
    lines = [
        f"Casing {rating.casing}, {rating.firings_seen} firings seen, {proof}. Pressures in MPa.",
        f"{'mode':{wide}}  nominal   k_T    k_N     p_i    n_i  p_i/n_i  from",
    ]
    for mode in rating.modes:
        marks = ""
        if mode is rating.allowable_mode:
            marks += "  << governs"
        if mode is rating.burst_mode:
            marks += "  << rated burst"
        lines.append(
            f"{mode.name:{wide}}  {_mpa(mode.nominal_pa):>7}  {mode.k_t:4.2f}   {mode.k_n:4.2f}  "
            f"{_mpa(mode.pressure_pa):>6}  {mode.factor:5.2f}  {_mpa(mode.allowed_pa):>7}  "
            f"{mode.formula}{marks}"
        )
    first, share = rating.first_to_go()
    lines += [
        f"rated burst  {_both(rating.rated_burst_pa)} ({first.name})",
        f"allowable    {_both(rating.allowable_pa)} ({rating.allowable_mode.name})",
        f"first to go: {first.name}, at {100 * share:.0f} % of the tube's own burst",
    ]
    return "\n".join([*lines, *_said(rating.refusals, rating.warnings)])


def redline_text(red: Redline) -> str:
    """Every subtraction on its own line, the clear rule, and the table of rises."""
    paths = f"board {red.delays.board_s * 1e3:.1f} ms, engine {red.delays.engine_s * 1e3:.0f} ms"
    clear = f"1.05 x MEOP {_mpa(red.meop_pa)} + 4 x noise {red.sigma_pa / 1e6:.3f}"
    shares = [100 * pressure / red.range_pa for pressure in (red.trip_pa, red.expected_peak_pa)]
    lines = [
        f"Trip of {red.channel} on casing {red.casing}; {paths}",
        f"  {'allowable':<22} {_mpa(red.allowable_pa):>6} MPa  {red.allowable_mode}",
    ]
    lines += [f"− {term.name:<22} {term.pa / 1e6:>6.3f} MPa  {term.how}" for term in red.terms]
    lines += [
        f"= {'TRIP (as indicated)':<22}   {_both(red.trip_pa)}",
        f"  must clear {clear} = {_mpa(red.needed_pa)} MPa: margin {red.margin_pa / 1e6:+.2f} MPa",
        f"  range {_mpa(red.range_pa)} MPa: trip {shares[0]:.0f} %, expected peak {shares[1]:.0f} %",
        f"  design rise {red.rise_pa_s / 1e6:g} MPa/s: {red.rise_source}",
        "  if the real rise is   board acts at   only the engine acts at",
    ]
    for row in red.rises:
        lines.append(
            f"  {int(row.rise_pa_s / 1e6):>10} MPa/s   {_mpa(row.board_pa):>8} MPa   "
            f"{_engine(red, row.engine_pa):<24} {row.says}"
        )
    lines.append("  To act is to drop the line and sound the siren; a burning motor burns on.")
    return "\n".join([*lines, *_said(red.refusals, red.warnings)])


def _engine(red: Redline, pressure: float) -> str:
    if pressure > 2 * red.rated_burst_pa:
        return "beyond rated burst"
    return f"{_mpa(pressure)} MPa"


def movement_text(moves: tuple[Movement, ...]) -> str:
    """Closure travel, seal margin, squeeze and gap at the trip."""
    return "\n".join(_movement_line(move) for move in moves)


def _movement_line(move: Movement) -> str:
    return (
        f"closure {move.joint}, seal {move.seal} at {_mpa(move.pressure_pa)} MPa: travel "
        f"{move.travel.total * 1e3:.2f} mm of {move.land_m * 1e3:.2f} mm, squeeze "
        f"{100 * move.squeeze_at_rest:.1f} -> {100 * move.squeeze:.1f} %, gap "
        f"{move.gap_m * 1e3:.3f} mm"
    )


def _said(refusals: tuple[str, ...], warnings: tuple[str, ...]) -> list[str]:
    return [*(f"REFUSED: {text}" for text in refusals), *(f"warned: {text}" for text in warnings)]


def rating_json(rating: Rating) -> dict[str, Any]:
    """Plain values in SI, with p_i and p_i/n_i worked out."""
    body: dict[str, Any] = as_json(rating)
    for mode, row in zip(rating.modes, body["modes"], strict=True):
        row |= {"pressure_pa": mode.pressure_pa, "allowed_pa": mode.allowed_pa}
    return body | {
        "rated_burst_pa": rating.rated_burst_pa,
        "rated_burst_mode": rating.burst_mode.name,
        "allowable_pa": rating.allowable_pa,
        "allowable_mode": rating.allowable_mode.name,
    }


def redline_json(red: Redline) -> dict[str, Any]:
    """Plain values in SI, with margin and the onset of NEAR TRIP."""
    body: dict[str, Any] = as_json(red)
    return body | {
        "margin_pa": red.margin_pa,
        "near_trip_pa": red.near_trip_pa,
        "board_delay_s": red.delays.board_s,
    }
