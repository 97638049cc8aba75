"""`casing.toml`: one casing by its serial, as measured, with its joints, seals and factors.

Dimensions are the measured ones: smallest wall, largest bore, largest hole, shortest edge.
Strengths are guaranteed minima with their source, never "typical" ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Annotated, Literal

from daq.settings_table import Bound, Count, Fault, Index, Positive, Share, Text

Factor = Annotated[float, Bound(low=1.0, closed="low")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Minimum strengths at room temperature; `name` is a curve of daq.assembly.materials."""

    name: Text
    yield_pa: Positive
    ultimate_pa: Positive
    modulus_pa: Positive
    poisson: Annotated[float, Bound(low=0.0, high=0.5)]
    source: Text

    def faults(self) -> Iterator[Fault]:
        if self.ultimate_pa < self.yield_pa:
            yield Fault("ultimate_pa", f"at least the yield {self.yield_pa:g} Pa", "less")


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
    `screw_strength_left` is the screws' own ratio at `hot_k`, with its source.
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
    radial gap for its hardness and pressure. Squeeze is a share of the section.
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
class History:
    """What the casing has seen. Past `firings_allowed`, or past the last step, it is refused."""

    firings_seen: Index
    firings_allowed: Count
    proof_tested: bool
    proof_record: str
    wear_source: Text
    wear: tuple[WearStep, ...]

    def faults(self) -> Iterator[Fault]:
        if self.proof_tested and not self.proof_record.strip():
            yield Fault("proof_record", "the record of the proof test", "an empty text")
        if not self.wear or self.wear[0].firings != 0:
            yield Fault("wear", "steps that begin at firings = 0", "none or a later start")
        for before, after in zip(self.wear, self.wear[1:], strict=False):
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
            if with_proof < 1.5 and not self.reason_below_1_5.strip():
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
    joints: tuple[Joint, ...]
    closures: tuple[Closure, ...]
    seals: tuple[Seal, ...]
    history: History
    factors: FactorSets

    def faults(self) -> Iterator[Fault]:
        for key in ("joints", "closures", "seals"):
            if not getattr(self, key):
                yield Fault(key, "at least one", "none")
        for seal in self.seals:
            if seal.sealing_diameter_m < self.tube.bore_m:
                yield Fault(
                    f"{seal.name} sealing_diameter",
                    f"at least the bore {self.tube.bore_m * 1e3:g} mm",
                    f"{seal.sealing_diameter_m * 1e3:g} mm",
                )
