"""A log brought down to blocks of a tenth of a second, whatever its length, and what is odd in its rows.

Rows pass in chunks and only sums by block are kept: memory grows with the time of a run, not with its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from setupopt.errors import InputError, InputErrors
from setupopt.learn.channels import CHANNELS, COMPARED, Used, chosen, key_of
from setupopt.learn.sources import frames

BLOCK = 0.1  # s
_LONGEST = 100_000.0  # s
_GAP = 0.5  # s without a row
_STUCK = 20  # blocks
_FROZEN = 100  # blocks; the speed may keep its last digit for some seconds
_JUMP = 10.0  # errors of a channel, from one row to the next
_NEEDED = (["time"], ["speed", "distance"], COMPARED)


class Finding(NamedTuple):
    """Something odd in a log: first line, the log's own column, and what was done about it."""

    file: str
    line: int
    column: str
    found: str
    done: str = "left out"

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}, {self.column}: found {self.found}; {self.done}"


@dataclass
class Log:
    """One run. `mean` (blocks x quantities), SI, not a number where there is none; `line` (blocks)."""

    path: Path
    mapped: list[Used]

    def __post_init__(self) -> None:
        self.used: dict[str, Used] = {}
        self.unused: list[str] = []
        self.findings: list[Finding] = []
        self.rows = 0
        self.line: Any = None
        self.mean: Any = None
        self._last: Any = None
        self._start = 0.0
        self._parts: list[Any] = []

    def error(
        self, line: Any, name: str, found: str, expected: str
    ) -> InputErrors:
        """A mistake of a quantity in a line."""
        column = self.used[name].column if name in self.used else key_of(name)
        return InputErrors(
            [
                InputError(
                    str(self.path),
                    None if line is None else int(line),
                    column,
                    found,
                    expected,
                )
            ]
        )

    def choose(self, names: list[str]) -> list[str]:
        """The columns that are used. Refuses a log that lacks what is needed."""
        self.used = {one.name: one for one in chosen(names, self.mapped)}
        columns = [one.column for one in self.used.values()]
        self.unused = [name for name in names if name not in columns]
        for name, one in self.used.items():
            if names.count(one.column) != 1:
                raise self.error(
                    1, name, f"{names.count(one.column)} such columns", "one"
                )
        for those in _NEEDED:
            if not self.used.keys() & set(those):
                expected = f"a column of {', '.join(map(key_of, those[:12]))}; or --channels, which renames columns"
                raise self.error(
                    1, those[0], f"none among {', '.join(names[:12])}", expected
                )
        return columns

    def take(self, raw: Any) -> None:
        """Add some rows, their index the line."""
        for name, one in self.used.items():
            low, high = np.sort(
                CHANNELS.loc[name, ["low", "high"]]
                * CHANNELS["factor"][name]
                / one.factor
            )
            for line, value in raw[one.column][
                (raw[one.column] < low) | (raw[one.column] > high)
            ].items():
                raise self.error(
                    line,
                    name,
                    f"{value:g}",
                    f"from {low:.6g} to {high:.6g}; is the unit right?",
                )
        frame = pd.DataFrame(
            {
                name: raw[one.column] * one.factor
                for name, one in self.used.items()
            }
        )
        whole = pd.concat([self._last, frame])
        self._start = self._start if self.rows else whole["time"].iloc[0]
        self._check_time(whole["time"])
        moved = whole.ne(whole.shift()).loc[frame.index]
        frame = frame.mask(self._jumps(whole).loc[frame.index])
        block = ((frame["time"] - self._start) / BLOCK).astype(int)
        groups = frame.groupby(block)
        lines = frame.index.to_series().groupby(block).agg(["min"])
        sums = {
            "sum": groups.sum(),
            "count": groups.count(),
            "moved": moved.groupby(block).sum(),
            "line": lines,
        }
        self._parts.append(pd.concat(sums, axis=1))
        self._last = whole.iloc[-1:]
        self.rows += len(frame)

    def _check_time(self, time: Any) -> None:
        """Times must grow, and be of one run."""
        steps = time.diff()
        for line in time.index[time.isna() | (steps <= 0.0)]:
            raise self.error(
                line,
                "time",
                f"the time {time[line]:.10g}",
                "a time after that of the row before",
            )
        if time.iloc[-1] - self._start > _LONGEST:
            raise self.error(
                time.index[-1],
                "time",
                f"{time.iloc[-1]:g} s",
                f"at most {_LONGEST:.0f} s; is the unit right?",
            )
        gaps = steps[steps > _GAP]
        self.enter(
            "time",
            gaps.index,
            f"{gaps.size} gap{'s' if gaps.size > 1 else ''}, of up to {gaps.max():.3g} s",
            "unknown in between",
        )

    def enter(
        self, name: str, lines: Any, found: str, done: str = "left out"
    ) -> None:
        """Enter what is odd in some lines, if there are any."""
        if len(lines):
            self.findings.append(
                Finding(
                    str(self.path),
                    int(lines[0]),
                    self.used[name].column,
                    found,
                    done,
                )
            )

    def _jumps(self, whole: Any) -> Any:
        """Rows of predicted channels that lie far off the rows on both sides."""
        known = CHANNELS.loc[whole.columns]
        steps = whole.diff().abs()
        far = steps.gt(
            np.maximum(
                20.0 * steps.median(), _JUMP * known["error"] * known["factor"]
            )
        )
        jumps = far & far.shift(-1, fill_value=False) & (known["error"] > 0.0)
        for name in jumps.columns:
            sizes = steps[name][jumps[name]] / known["factor"][name]
            words = f"{sizes.size} jumps of up to {sizes.max():.3g} {known['unit'][name]}"
            self.enter(name, sizes.index, words)
        return jumps

    def close(self) -> None:
        """Make blocks of what was taken; what does not move is left out."""
        if not self.rows:
            raise self.error(
                None, "time", "no rows", "ten seconds of rows and more"
            )
        sums = pd.concat(self._parts).groupby(level=0).sum()
        self.mean = (sums["sum"] / sums["count"]).drop(columns="time")
        self.line = pd.concat(self._parts)["line"]["min"].groupby(level=0).min()
        for name in self.mean:
            lacking = self.mean[name].isna()
            self._leave_out(name, lacking, 1, "no value")
            still = (sums["moved"][name] == 0) & ~lacking
            if name in [*COMPARED, "yaw_rate"]:
                self._leave_out(
                    name, still, _STUCK, "one value, a stuck sensor,"
                )
            elif name == "speed":
                kept = "taken as it is; is the sensor stuck?"
                self._leave_out(name, still, _FROZEN, "one value", kept)
        blocks = range(int(self.mean.index[-1]) + 1)
        self.line = self.line.reindex(blocks).bfill().to_numpy()
        late = {
            name: round(one.shift / BLOCK) for name, one in self.used.items()
        }
        self.mean = self.mean.reindex(blocks).apply(
            lambda column: column.shift(late[column.name])
        )

    def _leave_out(
        self, name: str, mask: Any, least: int, found: str, kept: str = ""
    ) -> None:
        """Take runs of blocks out of a channel that are long enough, each with a finding; none that are `kept`."""
        for _, run in mask[mask].groupby((~mask).cumsum()):
            if run.size >= least:
                if not kept:
                    self.mean.loc[run.index, name] = np.nan
                self.enter(
                    name,
                    self.line[run.index].to_list(),
                    f"{found} for {run.size * BLOCK:.3g} s",
                    kept or "left out",
                )


def read_log(path: Path, mapped: list[Used]) -> Log:
    """A log in blocks. Raises InputErrors with file, line and channel for what cannot be a log."""
    log = Log(path, mapped)
    for frame in frames(path, log.choose):
        log.take(frame)
    log.close()
    return log
