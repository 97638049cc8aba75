"""`casing.toml`: one casing by its serial, as measured, with its joints, seals and factors.

Dimensions are the measured ones: smallest wall, largest bore, largest hole, shortest edge.
Strengths are guaranteed minima with their source, never "typical" ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Annotated, Literal

from daq.settings_table import (
    Bound,
    Count,
    Fault,
    Index,
    NotNegative,
    Positive,
    Share,
    Text,
)

Factor = Annotated[float, Bound(low=1.0, closed="low")]
FactorIfUsed = Annotated[float, Bound(low=0.0, closed="low")]  # 0 = this casing has no such part


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """Share of the room-temperature value that is left at a temperature."""

    at_k: Positive
    left: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Softening:
    """Share of the strength left for good after `for_s` at `at_k` or less of either."""

    at_k: Positive
    for_s: Positive
    left: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Minimum strengths at room temperature.

    `name` is a curve of daq.assembly.materials, or the file brings its own `strength_curve` and
    `modulus_curve` with a `curve_source`. `softening` says what heat leaves for good.
    """

    name: Text
    yield_pa: Positive
    ultimate_pa: Positive
    modulus_pa: Positive
    poisson: Annotated[float, Bound(low=0.0, high=0.5)]
    source: Text
    strength_curve: tuple[CurvePoint, ...] = ()
    modulus_curve: tuple[CurvePoint, ...] = ()
    curve_source: str = ""
    softening: tuple[Softening, ...] = ()
    softening_source: str = ""

    def faults(self) -> Iterator[Fault]:
        if self.ultimate_pa < self.yield_pa:
            yield Fault("ultimate_pa", f"at least the yield {self.yield_pa:g} Pa", "less")
        if (self.strength_curve or self.modulus_curve) and not self.curve_source.strip():
            yield Fault("curve_source", "where the curves come from", "an empty text")
        if self.softening and not self.softening_source.strip():
            yield Fault("softening_source", "where the table comes from", "an empty text")
        for name in ("strength_curve", "modulus_curve"):
            points: tuple[CurvePoint, ...] = getattr(self, name)
            for before, after in pairwise(points):
                if after.at_k <= before.at_k or after.left > before.left:
                    yield Fault(name, "temperatures that rise and shares that do not", f"{after}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """Measured: largest bore, smallest wall. `hot_k` is the wall's mean when it is fullest loaded."""

    bore_m: Positive
    wall_m: Positive
    length_m: Positive
    hot_k: Positive
    material: Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Radial screws that hold a closure in the tube.

    `edge_to_hole_centre_m` runs from the tube's end to the hole's centre. `load_share` is the part
    of an even load that the worst screw is trusted to leave to the others (practice 5.12).
    `screw_strength_left` is the screws' own ratio at `hot_k`, with its source. `engagement_m` is
    the length of thread in the closure, 0 if not measured.
    """

    name: Text
    serial: Text
    count: Annotated[int, Bound(low=3, closed="low")]
    thread: Literal["M3", "M4", "M5", "M6", "M8", "M10", "M12"]
    grade: Literal["8.8", "10.9", "12.9"]
    threads_in_shear_plane: bool
    hole_m: Positive
    edge_to_hole_centre_m: Positive
    load_share: Share
    hot_k: Positive
    screw_strength_left: Share
    screw_source: Text
    engagement_m: NotNegative = 0.0
    tapped_in: Literal["aluminium", "steel"] = "aluminium"


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadedEnd:
    """A closure or a retainer screwed into the tube: ISO metric profile, nominal diameters.

    `engagement_m` is the length of full thread. `material` is that of the part with the outside
    thread; the tube has the inside one.
    """

    name: Text
    serial: Text
    major_m: Positive
    pitch_m: Positive
    engagement_m: Positive
    hot_k: Positive
    material: Material

    def faults(self) -> Iterator[Fault]:
        if self.pitch_m * 8 > self.major_m:
            yield Fault("pitch_m", "at most an eighth of the diameter", f"{self.pitch_m:g} m")


@dataclass(frozen=True, slots=True, kw_only=True)
class RetainingRing:
    """A ring in a groove of the bore that holds a closure.

    `groove_depth_m` is radial, the shallowest measured; `edge_m` runs from the groove's outer wall
    to the tube's end; `slack_m` is groove width minus ring thickness.
    """

    name: Text
    serial: Text
    thickness_m: Positive
    groove_depth_m: Positive
    edge_m: Positive
    slack_m: NotNegative
    hot_k: Positive
    material: Material


@dataclass(frozen=True, slots=True, kw_only=True)
class NozzleCarrier:
    """A plate with a hole that carries the nozzle, free at the hole, simply supported outside.

    The whole thrust of the closure is taken to load it, throat included. `shoulder_m` is the
    thickness of the step that holds the nozzle at the hole.
    """

    name: Text
    serial: Text
    hole_m: Positive
    nozzle_outer_m: Positive
    thickness_m: Positive
    shoulder_m: Positive
    hot_k: Positive
    material: Material

    def faults(self) -> Iterator[Fault]:
        if self.hole_m >= self.nozzle_outer_m:
            yield Fault("hole_m", "less than the nozzle it must hold", f"{self.hole_m:g} m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """A flat plate that closes one end, simply supported at the seal (check 4.17)."""

    name: Text
    serial: Text
    thickness_m: Positive
    hot_k: Positive
    material: Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """An O-ring in a gland of the closure, sealing on the tube's bore.

    `tested_pa` is the pressure it held as assembled; `sealing_diameter_m` carries the thrust of the
    closure. `land_m` is what the closure may travel before the seal reaches the edge of its bore or
    a screw hole. `clearance_m` is the whole difference of diameters. `gap_limit_m` is the largest
    radial gap for its hardness and pressure. Squeeze is a share of the section. `section_tol_m` and
    `gland_tol_m` (±) are 0 where the parts themselves were measured; `gland_width_m` is 0 if not.
    """

    name: Text
    lot: Text
    tested_pa: Positive
    tested_strength_left: Share
    source: Text
    sealing_diameter_m: Positive
    section_m: Positive
    gland_depth_m: Positive
    clearance_m: Positive
    land_m: Positive
    gap_limit_m: Positive
    least_squeeze: Share
    most_squeeze: Share
    coldest_k: Positive
    section_tol_m: NotNegative = 0.0
    gland_tol_m: NotNegative = 0.0
    gland_width_m: NotNegative = 0.0

    def faults(self) -> Iterator[Fault]:
        if self.most_squeeze <= self.least_squeeze:
            yield Fault("most_squeeze", f"more than least_squeeze {self.least_squeeze:g}", "less")


@dataclass(frozen=True, slots=True, kw_only=True)
class WearStep:
    """Share of the strength that is trusted after so many firings; linear between the steps."""

    firings: Index
    tube: Share
    joint: Share
    seal: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """One exposure the tube has seen, in firing or otherwise."""

    at_k: Positive
    for_s: Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What the casing has seen. Past `firings_allowed`, or past the last step, it is refused.

    `peaks_pa` are the real peaks of its firings and proofs; where there are any, `wear_peak_pa` is
    the peak that the wear table was made for, and `hole_kt` the stress concentration at its holes.
    """

    firings_seen: Index
    firings_allowed: Count
    proof_tested: bool
    proof_record: str
    wear_source: Text
    wear: tuple[WearStep, ...]
    peaks_pa: tuple[Positive, ...] = ()
    wear_peak_pa: NotNegative = 0.0
    hole_kt: NotNegative = 0.0
    heats: tuple[Heat, ...] = ()

    def faults(self) -> Iterator[Fault]:
        if self.proof_tested and not self.proof_record.strip():
            yield Fault("proof_record", "the record of the proof test", "an empty text")
        if not self.wear or self.wear[0].firings != 0:
            yield Fault("wear", "steps that begin at firings = 0", "none or a later start")
        if self.peaks_pa and not (self.wear_peak_pa and self.hole_kt >= 1):
            yield Fault("peaks_pa", "wear_peak and hole_kt (1 or more) beside them", "none")
        for before, after in pairwise(self.wear):
            if after.firings <= before.firings:
                yield Fault("wear", "firings that rise from step to step", f"{after.firings}")
            if any(getattr(after, k) > getattr(before, k) for k in ("tube", "joint", "seal")):
                yield Fault("wear", "shares that never rise with firings", f"{after}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Factors:
    """Required factor of each mode on the lowest failure pressure."""

    hoop_yield: Factor
    hoop_burst: Factor
    axial: Factor
    shear: Factor
    bearing: Factor
    tear_out: Factor
    closure: Factor
    seal: Factor
    thread_strip: FactorIfUsed = 0.0
    ring: FactorIfUsed = 0.0
    carrier: FactorIfUsed = 0.0

    def faults(self) -> Iterator[Fault]:
        for name in ("thread_strip", "ring", "carrier"):
            if 0 < getattr(self, name) < 1:
                yield Fault(name, "at least 1", f"{getattr(self, name):g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorSets:
    """Factors with and without a valid proof test; a factor under 1.5 needs a typed reason."""

    source: Text
    reason_below_1_5: str
    proof_tested: Factors
    not_proof_tested: Factors

    def faults(self) -> Iterator[Fault]:
        for entry in fields(Factors):
            with_proof = getattr(self.proof_tested, entry.name)
            without = getattr(self.not_proof_tested, entry.name)
            if without < with_proof:
                yield Fault(
                    f"not_proof_tested {entry.name}", f"at least {with_proof:g}", f"{without:g}"
                )
            if 0 < with_proof < 1.5 and not self.reason_below_1_5.strip():
                yield Fault(
                    "reason_below_1_5",
                    f"the reason for {entry.name} = {with_proof:g}",
                    "an empty text",
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Casing:
    """One assembled casing."""

    name: Text
    serial: Text
    tube: Tube
    joints: tuple[Joint, ...] = ()
    closures: tuple[Closure, ...]
    seals: tuple[Seal, ...]
    history: History
    factors: FactorSets
    threaded_ends: tuple[ThreadedEnd, ...] = ()
    rings: tuple[RetainingRing, ...] = ()
    carriers: tuple[NozzleCarrier, ...] = ()

    def faults(self) -> Iterator[Fault]:
        for key in ("closures", "seals"):
            if not getattr(self, key):
                yield Fault(key, "at least one", "none")
        if not (self.joints or self.threaded_ends or self.rings):
            yield Fault("joints", "at least one, or a threaded end, or a ring", "none")
        for key, factor in (
            ("threaded_ends", "thread_strip"),
            ("rings", "ring"),
            ("carriers", "carrier"),
        ):
            if getattr(self, key):
                for table in ("proof_tested", "not_proof_tested"):
                    if not getattr(getattr(self.factors, table), factor):
                        yield Fault(f"factors.{table}.{factor}", f"a factor for {key}", "none")
        for seal in self.seals:
            if seal.sealing_diameter_m < self.tube.bore_m:
                yield Fault(
                    f"{seal.name} sealing_diameter",
                    f"at least the bore {self.tube.bore_m * 1e3:g} mm",
                    f"{seal.sealing_diameter_m * 1e3:g} mm",
                )
