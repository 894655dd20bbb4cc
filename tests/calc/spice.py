"""Run a netlist in ngspice, to compare our figures with those of a circuit simulator that others wrote.

ngspice comes from Debian; `selftest` and the build server install it. Where it is missing the test is skipped, on
the build server it fails.
"""

import subprocess
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.tools import ngspice

LONGEST = 120  # s


@dataclass(frozen=True)
class Plot:
    """What one analysis gave: the vectors by their names in small letters, as `v(out)`, `i(v1)`, `time`."""

    name: str
    vectors: Mapping[str, np.ndarray]

    def __getitem__(self, name: str) -> np.ndarray:
        return self.vectors[name.lower()]

    def last(self, name: str) -> float:
        """The last value of a vector: of an operating point, its only one."""
        return float(np.real(self[name][-1]))

    def between(self, name: str, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
        """The times within a span, its ends among them, and a vector's values there."""
        at, values = self["time"], self[name]
        inside = (at > start) & (at < end)
        times = np.concatenate(([start], at[inside], [end]))
        return times, np.interp(times, at, values)

    def mean(self, name: str, start: float, end: float) -> float:
        """The mean of a vector over a span of time; ngspice's steps are not equal."""
        times, values = self.between(name, start, end)
        return float(np.trapezoid(values, times) / (end - start))

    def rms(self, name: str, start: float, end: float) -> float:
        """The root mean square over a span of time, DC in it."""
        times, values = self.between(name, start, end)
        return float(np.sqrt(np.trapezoid(values**2, times) / (end - start)))

    def swing(self, name: str, start: float, end: float) -> float:
        """From the least to the most of a vector within a span of time."""
        return float(np.ptp(self.between(name, start, end)[1]))


def run(netlist: str) -> Plot:
    """Run a netlist with one analysis (.op, .dc, .ac or .tran; no .control) and return what it gave.

    The first line is the title, as always in SPICE. `.end` is added where it is missing. Node 0 is ground.
    """
    plots, _ = timed(netlist)
    assert len(plots) == 1, f"one analysis a netlist: this has {[plot.name for plot in plots]}"
    return plots[0]


def timed(netlist: str) -> tuple[list[Plot], float]:
    """Run a netlist and return every plot and the seconds that ngspice took, from its start to its end."""
    program = ngspice()
    if not netlist.rstrip().lower().endswith(".end"):
        netlist = netlist.rstrip() + "\n.end\n"
    with tempfile.TemporaryDirectory(prefix="ngspice-") as folder:
        circuit, raw = Path(folder, "circuit.cir"), Path(folder, "circuit.raw")
        circuit.write_text(netlist, encoding="utf-8")
        command = [program, "--batch", "--no-spiceinit", "--rawfile", str(raw), str(circuit)]
        began = time.perf_counter()
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=LONGEST)
        took = time.perf_counter() - began
        said = done.stdout + done.stderr
        assert raw.is_file() and done.returncode == 0, f"ngspice gave nothing:\n{said}\n{netlist}"
        assert "aborted" not in said and "Timestep too small" not in said, f"ngspice gave up:\n{said}"
        return _read(raw.read_bytes()), took


def _read(raw: bytes) -> list[Plot]:
    """The plots of a binary raw file."""
    plots, here = [], 0
    mark = b"Binary:\n"
    while (end := raw.find(mark, here)) >= 0:
        lines = raw[here:end].decode("utf-8", "replace").splitlines()
        heads = {key.strip(): rest.strip() for key, _, rest in (line.partition(":") for line in lines)}
        width, points = int(heads["No. Variables"]), int(heads["No. Points"])
        names = [line.split()[1].lower() for line in lines[lines.index("Variables:") + 1 :][:width]]
        kind = np.dtype(complex if "complex" in heads["Flags"] else float)
        start = end + len(mark)
        here = start + kind.itemsize * width * points
        table = np.frombuffer(raw[start:here], dtype=kind).reshape(points, width)
        plots.append(Plot(heads["Plotname"], dict(zip(names, table.T, strict=True))))
    return plots
