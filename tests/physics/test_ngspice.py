"""The closed-form start against ngspice, which integrates the same circuit and a turning mass through time.

The netlist is not our algebra again: the rotor is a capacitor charged by motor torque less drag, dry friction is a
steep tanh, the polarisation is a resistor beside a capacitor, and nobody tells ngspice whether the engine turns.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from faultnet.physics.cranking import solve_start

NETLIST = """* start of an engine
Vemf e 0 {emf}
Rohmic e a {ohmic}
Rpolarisation a posts {developed}
Cpolarisation a posts {smoothing}
Rloop posts c {loop}
Rmotor c f {motor}
Vbrush f g {brush}
Bemf g 0 V = {back_emf}*v(turning)
Cmass turning 0 0.05
Rleak turning 0 1e9
Btorque 0 turning I = i(Vbrush)/{nominal} - {drag}*(0.6*tanh(2000*v(turning)) + 0.4*v(turning))
.ic v(turning)=0
.tran 50u 3 0 50u uic
.meas tran stall FIND i(Vbrush) AT=2u
.meas tran dip FIND v(posts) AT=2u
.meas tran current AVG i(Vbrush) FROM=2.5 TO=3
.meas tran level AVG v(posts) FROM=2.5 TO=3
.meas tran turning AVG v(turning) FROM=2.5 TO=3
.end
"""

CASES = {
    "sound": {},
    "worn battery": {"ohmic": 0.012, "polarisation": 0.006},
    "corroded joint": {"loop": 0.020},
    "heavy engine": {"drag": 2.2},
    "cold diesel": {"nominal": 420.0, "motor": 3.9e-3, "emf": 12.55, "ohmic": 5.2e-3, "polarisation": 2.5e-3},
    "seized": {"drag": 30.0},
}


def by_ngspice(folder: Path, values: dict[str, float]) -> dict[str, float]:
    """What ngspice measures on that circuit."""
    netlist = folder / "start.cir"
    developed = 0.7 * values["polarisation"]
    netlist.write_text(NETLIST.format(**values, developed=developed, smoothing=0.05 / developed))
    run = subprocess.run(["ngspice", "-b", str(netlist)], capture_output=True, text=True, check=True, cwd=folder)
    found = re.findall(r"^(stall|dip|current|level|turning)\s*=\s*(\S+)", run.stdout, flags=re.MULTILINE)
    return {name: float(value) for name, value in found}


@pytest.mark.parametrize("case", CASES)
def test_start_against_ngspice(case: str, tmp_path: Path) -> None:
    """Every figure of the start within 2 % (a speed near zero within 2 rev/min)."""
    values = {"emf": 12.66, "ohmic": 4.4e-3, "polarisation": 2.1e-3, "loop": 2.5e-3, "drag": 1.0, "nominal": 150.0}
    values |= {"motor": 6.5e-3, "brush": 1.0, "back_emf": 8.5} | CASES[case]
    order = ("emf", "ohmic", "polarisation", "loop", "drag", "nominal", "motor")
    ours, reference = solve_start(*(values[name] for name in order)), by_ngspice(tmp_path, values)
    assert ours.stall_current == pytest.approx(reference["stall"], rel=0.02)
    assert ours.first_dip == pytest.approx(reference["dip"], rel=0.02)
    assert ours.current == pytest.approx(reference["current"], rel=0.02)
    assert ours.post_voltage == pytest.approx(reference["level"], rel=0.02)
    assert ours.speed == pytest.approx(220.0 * reference["turning"], rel=0.02, abs=2.0)
