"""Write the invented example recordings of `cases/recordings/`, one in each format, from one seed.

Run `python -m faultnet.recordings.synthetic.generate FOLDER`. All cars and voltages are invented; file times are
fixed, so that the same seed gives the same readings again."""

from __future__ import annotations

import csv
import gzip
import io
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from faultnet.errors import MissingExtraError
from faultnet.recordings.synthetic.simulate import simulate_log
from faultnet.recordings.trace import Trace

SEED = 611
"""Seed of the examples."""

EPOCH = 1_700_000_000.0
"""Invented time at which the examples begin [s since 1970]."""


def text_of(
    trace: Trace,
    *,
    separator: str = ",",
    decimal: str = ".",
    time_unit: str = "s",
    volts_unit: str = "V",
    header: bool = True,
    preamble: tuple[str, ...] = ("# invented recording",),
) -> bytes:
    """Write a trace as text in columns.

    Parameters
    ----------
    trace : Trace
        The recording.
    separator, decimal : str
        As the text shall have them.
    time_unit : {"s", "ms"}
        Unit of the time column.
    volts_unit : {"V", "mV"}
        Unit of the volts column.
    header : bool
        Whether column names are written.
    preamble : tuple of str
        Lines before the header.

    Returns
    -------
    bytes
        UTF-8 text; time to 0.01 ms, volts to 1 mV.

    Examples
    --------
    >>> trace = Trace(np.array([0.0, 0.5]), np.array([12.6, 12.59]), "demo")
    >>> text_of(trace, separator=";", decimal=",", preamble=()).decode().split()
    ['time_s;voltage_V', '0,00000;12,600', '0,50000;12,590']
    """
    times = trace.time * {"s": 1.0, "ms": 1000.0}[time_unit]
    volts = trace.volts * {"V": 1.0, "mV": 1000.0}[volts_unit]
    places = {"s": 5, "ms": 2}[time_unit], {"V": 3, "mV": 0}[volts_unit]
    rows = [
        f"{t:.{places[0]}f}".replace(".", decimal) + separator + f"{v:.{places[1]}f}".replace(".", decimal)
        for t, v in zip(times.tolist(), volts.tolist(), strict=True)
    ]
    names = [f"time_{time_unit}{separator}voltage_{volts_unit}"] if header else []
    return ("\n".join([*preamble, *names, *rows]) + "\n").encode()


def frames_of(traces: dict[int, Trace]) -> list[tuple[float, int, bytes]]:
    """Turn traces of several modules into answers on the bus, in order of time.

    Parameters
    ----------
    traces : dict
        CAN identifier of the answer to trace.

    Returns
    -------
    list of tuple
        Time [s], identifier, eight data bytes: single frames of SAE J1979 service 01, PID 42.

    Examples
    --------
    >>> frames_of({0x7E8: Trace(np.array([0.0, 0.5]), np.array([12.6, 12.59]), "demo")})[0][2].hex()
    '0441423138000000'
    """
    frames = [
        (float(t), identifier, bytes([4, 0x41, 0x42, *divmod(round(float(v) * 1000), 256), 0, 0, 0]))
        for identifier, trace in traces.items()
        for t, v in zip(trace.time, trace.volts, strict=True)
    ]
    return sorted(frames)


def candump_of(traces: dict[int, Trace]) -> bytes:
    """Write modules' answers as the text of a candump.

    Parameters
    ----------
    traces : dict
        CAN identifier of the answer to trace.

    Returns
    -------
    bytes
        One line per frame.

    Examples
    --------
    >>> candump_of({0x7E8: Trace(np.array([0.0, 0.5]), np.array([12.6, 12.59]), "demo")}).decode().split()[:3]
    ['(0.000000)', 'can0', '7E8#0441423138000000']
    """
    lines = [f"({t:.6f}) can0 {identifier:X}#{data.hex().upper()}" for t, identifier, data in frames_of(traces)]
    return ("\n".join(lines) + "\n").encode()


def can_library_bytes(traces: dict[int, Trace], kind: str) -> bytes:
    """Write modules' answers in a format of python-can.

    Parameters
    ----------
    traces : dict
        CAN identifier of the answer to trace.
    kind : {"asc", "blf", "trc", "can_csv"}
        The format.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    MissingExtraError
        If python-can is not installed.

    Examples
    --------
    >>> trace = Trace(np.array([0.0, 0.5]), np.array([12.6, 12.59]), "demo")
    >>> can_library_bytes({0x7E8: trace}, "can_csv")[:9]
    b'timestamp'
    """
    try:
        import can
    except ImportError as error:
        raise MissingExtraError("CAN logs of this kind need python-can", extra="can") from error
    writers: dict[str, Any] = {
        "asc": can.ASCWriter,
        "blf": can.BLFWriter,
        "trc": can.TRCWriter,
        "can_csv": can.CSVWriter,
    }

    def write(path: str) -> None:
        with writers[kind](path) as writer:
            if kind == "trc":
                writer.filepath = "recording.trc"  # else its head names the folder it was written in
            for t, identifier, data in frames_of(traces):
                stamp = EPOCH + t
                writer(can.Message(timestamp=stamp, arbitration_id=identifier, is_extended_id=False, data=data))

    return _written(write)


def _written(write: Callable[[str], None]) -> bytes:
    """Let a library write a file, and take its content."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "recording.bin"
        write(str(path))
        return path.read_bytes()


def mdf_of(channels: dict[str, tuple[Trace, str]]) -> bytes:
    """Write traces as an ASAM MDF 4 file.

    Parameters
    ----------
    channels : dict
        Channel name to trace and unit, "V" or "mV".

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    MissingExtraError
        If asammdf is not installed.

    Examples
    --------
    >>> trace = Trace(np.array([0.0, 0.5]), np.array([12.6, 12.59]), "demo")
    >>> mdf_of({"U_battery": (trace, "V")})[:3]
    b'MDF'
    """
    try:
        from asammdf import MDF, Signal
    except ImportError as error:
        raise MissingExtraError("measurement files need asammdf", extra="mdf") from error

    def write(path: str) -> None:
        with MDF(version="4.10") as mdf:
            for name, (trace, unit) in channels.items():
                samples = trace.volts * (1000.0 if unit == "mV" else 1.0)
                mdf.append(Signal(samples=samples, timestamps=trace.time, name=name, unit=unit), comment="invented")
            mdf.header.start_time = datetime.fromtimestamp(EPOCH, tz=UTC)
            Path(mdf.save(path, compression=2)).replace(path)

    return _written(write)


def write_examples(folder: Path, seed: int = SEED) -> list[Path]:
    """Write all example recordings.

    Parameters
    ----------
    folder : Path
        Where to; made if it is not there.
    seed : int
        Seed of the draws.

    Returns
    -------
    list of Path
        The files, with a table `README.md` that says what is in each and what truly happened.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     len(write_examples(Path(place))) > 8
    True
    """
    rng = np.random.default_rng(seed)
    scope, logger, adapter, second = (
        simulate_log(rng, interval, nuisance=False, starts=count)
        for interval, count in ((0.001, 1), (0.05, 2), (0.2, 3), (0.5, 2))
    )
    night = _night(rng)
    modules = {0x7E8: adapter.trace, 0x7EA: Trace(adapter.trace.time + 0.05, adapter.trace.volts - 0.06, "second")}
    files: dict[str, tuple[bytes, str]] = {
        "scope.csv": (text_of(scope.trace, time_unit="ms"), "1000 samples a second, milliseconds"),
        "logger_decimal_comma.txt": (
            text_of(logger.trace, separator=";", decimal=",", volts_unit="mV"),
            "20 samples a second, semicolon, decimal comma, millivolts",
        ),
        "adapter.tsv": (text_of(adapter.trace, separator="\t"), "5 samples a second, tabs, module voltage"),
        "adapter_slow.csv.gz": (gzip.compress(text_of(second.trace), mtime=0), "2 samples a second, packed"),
        "overnight.csv": (_clock_text(night), "one sample a minute over a night, date and time of day"),
        "measurement.mf4": (
            mdf_of({"U_battery": (logger.trace, "V")}),
            "the same as logger_decimal_comma.txt, as ASAM MDF 4",
        ),
        "modules.log": (candump_of(modules), "two modules, candump; the option channel is needed"),
        "module.asc": (can_library_bytes({0x7E8: adapter.trace}, "asc"), "one module, ASC"),
        "module.blf": (can_library_bytes({0x7E8: adapter.trace}, "blf"), "one module, BLF"),
        "module.trc": (can_library_bytes({0x7E8: adapter.trace}, "trc"), "one module, TRC"),
        "module_can.csv": (can_library_bytes({0x7E8: adapter.trace}, "can_csv"), "one module, CAN frames as CSV"),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, (content, _) in files.items():
        (folder / name).write_bytes(content)
    readme = folder / "README.md"
    readme.write_text(_readme({name: what for name, (_, what) in files.items()}, seed), encoding="utf-8")
    return [*(folder / name for name in files), readme]


def _night(rng: np.random.Generator) -> Trace:
    """Draw a night: the rest voltage falls from surface charge and by a drain (invented)."""
    time = np.arange(0.0, 10 * 3600.0, 60.0)
    volts = 12.55 + 0.15 * np.exp(-time / 3600.0) - 0.018 * time / 3600.0
    return Trace(time, np.round(volts + 0.004 * rng.standard_normal(time.size), 3), "night")


def _clock_text(trace: Trace) -> bytes:
    """Write a trace with date and time of day in one column, over midnight."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(["time", "battery [V]"])
    start = np.datetime64("2026-11-24T21:30:00")
    for t, v in zip(trace.time, trace.volts, strict=True):
        stamp = str(start + np.timedelta64(int(t), "s")).replace("T", " ")
        writer.writerow([stamp, f"{v:.3f}"])
    return target.getvalue().encode()


def _readme(files: dict[str, str], seed: int) -> str:
    """Say what the examples are."""
    rows = "\n".join(f"| {name} | {what} |" for name, what in files.items())
    return (
        "# Invented recordings\n\nNothing here was measured: all cars and voltages are invented, made by "
        f"`python -m faultnet.recordings.synthetic.generate cases/recordings` with seed {seed}.\n\n"
        f"| file | what |\n|---|---|\n{rows}\n"
    )


if __name__ == "__main__":
    write_examples(Path(sys.argv[1] if len(sys.argv) > 1 else "cases/recordings"))
