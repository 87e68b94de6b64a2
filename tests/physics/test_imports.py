"""What the thermal physics costs to load."""

import subprocess
import sys


def run(program: str) -> str:
    return subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout


def test_thermal_and_mechanics_do_without_scipy() -> None:
    loaded = run(
        "import sys, server.physics.thermal as t, server.physics.mechanics\n"
        "t.wire_heat_W('manganin', 1e-4, 1, 0.3, 4.0, 300.0)\n"
        "print(sorted(name for name in sys.modules if name.partition('.')[0] == 'scipy'))"
    )
    assert loaded.strip() == "[]"


def test_thermal_takes_no_more_than_40_megabytes_beyond_numpy() -> None:
    used = run(
        "import resource, numpy\n"
        "import numpy.polynomial\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "import server.physics.thermal as t\n"
        "t.all_evidence()\n"
        "print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024)"
    )
    assert float(used) <= 40.0
