"""The words over the picture: PRELIMINARY, mode, which run, the figures, and what to know first."""

import textwrap
from typing import Any

from matplotlib.figure import Figure

from daq.runs.figures import shown


def draw_heading(
    figure: Figure, result: dict[str, Any], config: dict[str, Any], colours: tuple[str, str]
) -> None:
    """Mark, mode, names, six figures and one remark; `colours` are caption and danger."""
    caption, danger = colours
    motor = config.get("settings", {}).get("motor", {})
    casing = config.get("settings", {}).get("casing", {})
    names = [
        text
        for text in (
            f"run {result['run_id']}" if result["run_id"] else "",
            f"motor {motor['name']}" if motor.get("name") else "",
            f"casing {casing['serial']}" if casing.get("serial") else "",
            str(config.get("site") or ""),
        )
        if text
    ]
    figure.text(0.075, 0.952, "PRELIMINARY", fontsize=15, fontweight="bold")
    mode = str(result["mode"])
    figure.text(0.215, 0.952, mode, fontsize=15, fontweight="bold", color=caption)
    figure.text(0.925, 0.952, ", ".join(names), fontsize=10, color=caption, ha="right")
    for place, text in enumerate(_figure_texts(result)):
        column, row = place % 3, place // 3
        figure.text(0.075 + 0.295 * column, 0.916 - 0.026 * row, text, fontsize=9.4)
    colour = danger if result["trip"]["tripped"] else caption
    for place, line in enumerate(textwrap.wrap(_notes(result), 130)[:2]):
        figure.text(0.075, 0.862 - 0.024 * place, line, fontsize=9.4, color=colour)


def _figure_texts(result: dict[str, Any]) -> list[str]:
    wanted = (
        ("peak_pressure_pa", "Peak pressure"),
        ("peak_thrust_n", "Peak thrust"),
        ("total_impulse_n_s", "Total impulse"),
        ("margin_used_percent", "Peak of trip"),
        ("burn_time_s", "Burn time"),
        ("specific_impulse_s", "Specific impulse"),
    )
    found: list[str] = []
    if all(result["figures"][name]["value"] is None for name, _ in wanted):
        return found
    for name, label in wanted:
        figure = result["figures"][name]
        if figure["value"] is None:
            found.append(f"{label}: not given")
            continue
        text = shown(name, figure["value"], figure["expanded_uncertainty"], figure["bound"])
        found.append(f"{label} {text.split(' = ')[0]}")
    return found


def _notes(result: dict[str, Any]) -> str:
    trip = result["trip"]
    if trip["tripped"]:
        return str(trip["text"])
    if result["outcome"] == "misfire":
        return "Misfire: energy was given, no burn was seen."
    if result["gaps"]:
        begin, end = result["marks"]["begin_s"], result["marks"]["quiet_from_s"]
        inside = [
            gap["end_s"] - gap["begin_s"]
            for gap in result["gaps"]
            if begin is not None and gap["end_s"] > begin and gap["begin_s"] < end
        ]
        if inside:
            return f"Samples are missing for {sum(inside):.3g} s of the burn (hatched): figures are bounds."
        return "Samples are missing outside the burn; see result.json."
    return ""
