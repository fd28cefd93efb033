"""A log brought down to blocks of a tenth of a second, whatever its length, and what is odd in its rows.

Rows pass in chunks and only sums by block are kept: memory grows with the time of a run, not with its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from setupopt.errors import InputError, InputErrors
from setupopt.learn.channels import CHANNELS, COMPARED, Used, chosen, key_of
from setupopt.learn.sources import frames, refused
from setupopt.physics.inputs import Floats
from setupopt.project.field_types import Bounds

BLOCK = 0.1  # s
_LONGEST = 100_000.0  # s
_GAP = 0.5  # s without a row
_STUCK = 20  # blocks
_JUMP = 10.0  # errors of a channel, from one row to the next
_NO_GROWTH = "a time after that of the row before"


class Finding(NamedTuple):
    """Something odd in a log: first line, the log's own column, and what was left out for it."""

    file: str
    line: int
    column: str
    found: str
    done: str = "left out"

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}, {self.column}: found {self.found}; {self.done}"


@dataclass(frozen=True)
class Log:
    """One run in blocks. `mean` (blocks x quantities), SI, not a number where there is none."""

    path: Path
    used: dict[str, Used]
    unused: list[str]
    rows: int
    line: Floats
    mean: pd.DataFrame
    findings: list[Finding]

    def error(self, block: int, name: str, found: str, expected: str) -> InputErrors:
        """A mistake of a quantity, from a block on."""
        column = self.used[name].column if name in self.used else key_of(name)
        return refused(self.path, int(self.line[block]), column, found, expected)


def read_log(path: Path, mapped: list[Used]) -> Log:
    """A log in blocks. Raises InputErrors with file, line and channel for what cannot be a log."""
    reading = _Reading(path, mapped)
    for frame in frames(path, reading.choose):
        reading.take(frame)
    return reading.log()


class _Reading:
    """Sums by block, taken chunk by chunk."""

    def __init__(self, path: Path, mapped: list[Used]) -> None:
        self.path = path
        self.mapped = mapped
        self.used: dict[str, Used] = {}
        self.unused: list[str] = []
        self.findings: list[Finding] = []
        self.rows = 0
        self.last: pd.DataFrame | None = None
        self.start = 0.0
        self.parts: list[pd.DataFrame] = []

    def choose(self, names: list[str]) -> list[str]:
        """The columns that are used. Refuses a log that lacks what is needed."""
        twice = [name for name in names if names.count(name) > 1]
        if twice:
            raise refused(self.path, 1, twice[0] or "a column without a name", "it twice", "every column once")
        self.used = {one.name: one for one in chosen(names, self.mapped)}
        columns = [one.column for one in self.used.values()]
        self.unused = [name for name in names if name not in columns]
        lost = [column for column in columns if column not in names]
        if lost:
            raise refused(self.path, 1, lost[0], "no such column", "the columns that the map names")
        needed = {"time_s": ["time"], "speed_m_s or distance_m": ["speed", "distance"]}
        needed["a channel that the model predicts"] = COMPARED
        for words, names_of in needed.items():
            if not self.used.keys() & set(names_of):
                known = ", ".join(map(key_of, names_of[:8]))
                raise refused(self.path, 1, words, "no such column", f"{known}; or a map (--channels)")
        return columns

    def _find(self, mask: pd.Series, name: str, found: str, done: str = "left out") -> None:
        """Enter the first row of a mask, and how many there are."""
        if mask.any():
            line = int(mask.idxmax())
            self.findings.append(Finding(str(self.path), line, self.used[name].column, found, done))

    def take(self, raw: pd.DataFrame) -> None:
        """Add some rows."""
        for one in self.used.values():
            self._check(raw[one.column], one)
        frame = pd.DataFrame({one.name: raw[one.column] * one.factor for one in self.used.values()})
        whole = pd.concat([self.last, frame])
        if self.last is None:
            self.start = frame["time"].iloc[0]
        self._check_time(whole["time"])
        moved = whole.ne(whole.shift()).loc[frame.index]
        frame = frame.mask(self._jumps(whole).loc[frame.index])
        block = ((frame["time"] - self.start) / BLOCK).astype(int)
        groups = frame.groupby(block)
        part = {"sum": groups.sum(), "count": groups.count(), "moved": moved.groupby(block).sum()}
        part["line"] = frame.index.to_series().groupby(block).agg(["min"])
        self.parts.append(pd.concat(part, axis=1))
        self.last = frame.iloc[-1:]
        self.rows += len(frame)

    def _check(self, column: pd.Series, one: Used) -> None:
        """Refuse values that cannot be."""
        channel = CHANNELS.loc[one.name]
        low, high = np.sort(channel[["low", "high"]].astype(float) * channel["factor"] / one.factor)
        bounds = Bounds(low, high, "")
        odd = column[(column < low) | (column > high)][:5]
        if len(odd):
            expected = f"a number {bounds}, in the unit of {key_of(one.name)} or of its own name"
            raise InputErrors(
                InputError(str(self.path), line, one.column, f"{value:g}", expected)
                for line, value in odd.items()
            )

    def _check_time(self, time: pd.Series) -> None:
        """Times must grow, and be of one run."""
        column = self.used["time"].column
        steps = time.diff()
        wrong = {
            _NO_GROWTH: time.isna() | (steps <= 0.0),
            f"at most {_LONGEST:.0f} s of a run; is it in another unit?": time - self.start > _LONGEST,
        }
        for expected, mask in wrong.items():
            if mask.any():
                line = mask.idxmax()
                raise refused(self.path, line, column, f"the time {time[line]:.10g}", expected)
        gaps = steps > _GAP
        self._find(gaps, "time", f"{gaps.sum()} gaps, the longest of {steps.max():.3g} s", "unknown in between")

    def _jumps(self, whole: pd.DataFrame) -> pd.DataFrame:
        """Rows of predicted channels that lie far off the rows on both sides."""
        known = CHANNELS.loc[whole.columns]
        steps = whole.diff().abs()
        far = steps.gt(np.maximum(20.0 * steps.median(), _JUMP * known["error"] * known["factor"]))
        jumps = far & far.shift(-1, fill_value=False) & (known["error"] > 0.0)
        for name in jumps.columns[jumps.any()]:
            size = steps[name][jumps[name]].max() / known["factor"][name]
            unit = known["unit"][name]
            self._find(jumps[name], name, f"{jumps[name].sum()} jumps of up to {size:.3g} {unit}")
        return jumps

    def log(self) -> Log:
        """All of it; what does not move is left out."""
        if not self.rows:
            raise refused(self.path, None, "", "no rows", "at least ten seconds of rows")
        parts = pd.concat(self.parts)
        sums = parts[["sum", "count", "moved"]].groupby(level=0).sum()
        line = parts["line"].groupby(level=0).min()["min"].astype(int)
        mean = (sums["sum"] / sums["count"]).drop(columns="time")
        for name in mean.columns:
            lacking = mean[name].isna()
            self._runs(line, lacking, name, 1, "no value")
            if name in [*COMPARED, "yaw_rate"]:
                stuck = (sums["moved"][name] == 0) & ~lacking
                mean.loc[self._runs(line, stuck, name, _STUCK, "one value, a stuck sensor,"), name] = np.nan
        blocks = range(int(mean.index[-1]) + 1)
        mean = mean.reindex(blocks)
        mean = mean.apply(lambda column: column.shift(round(self.used[column.name].shift / BLOCK)))
        lines = line.reindex(blocks).bfill().to_numpy()
        return Log(self.path, self.used, self.unused, self.rows, lines, mean, self.findings)

    def _runs(self, line: pd.Series, mask: pd.Series, name: str, least: int, found: str) -> pd.Series:
        """Runs of blocks in a mask that are long enough; each is entered."""
        runs = mask.ne(mask.shift()).cumsum()
        lengths = runs.map(runs.value_counts())
        long = mask & (lengths >= least)
        for _, blocks in long[long].groupby(runs[long]):
            at = pd.Series([True], index=[line[blocks.index[0]]])
            self._find(at, name, f"{found} for {len(blocks) * BLOCK:.3g} s")
        return long


