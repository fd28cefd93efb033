"""Writes data/plain_cases.json: the plain slip model's answers to random cases.

`python tests/reference/make_plain_cases.py FIRST LAST` solves the seeds from FIRST to LAST - 1 and adds them
to the
file; seeds that it holds already are left alone. A seed takes the plain program ten seconds or so. What is
stored
comes from the plain program alone, never from the package; `inputs` is a checksum of the case that was
solved.
"""

import json
import signal
import sys
import zlib
from pathlib import Path
from random import Random
from types import FrameType

from plain_slip_model import solve_slip_case
from random_cases import Table, random_case, random_project

FILE = Path(__file__).parent / "data" / "plain_cases.json"
KEPT = (
    "kind",
    "ended",
    "first_axle",
    "margin",
    "x",
    "loads",
    "capacities",
    "slip_angles",
    "use_front",
    "use_rear",
)
MORE_KEPT = (
    "x_at_lambda",
    "downforce",
    "drag",
    "balance",
    "wheels_in_air",
    "growth",
)
DIGITS = 12
PATIENCE = 200  # s of computing a seed


def drawn_tables(seed: int) -> tuple[Table, Table, Table, Table]:
    """Car, venue, setup and case of a seed, in file units."""
    rng = Random(seed)
    car, venue, setup = random_project(rng)
    return car, venue, setup, random_case(rng, venue)


def checksum(tables: tuple[Table, ...]) -> int:
    return zlib.crc32(json.dumps(tables, sort_keys=True).encode())


def rounded(value: object) -> object:
    if isinstance(value, list | tuple):
        return [rounded(each) for each in value]
    if hasattr(value, "item"):
        value = value.item()
    return float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value


def answer(seed: int) -> Table:
    tables = drawn_tables(seed)
    found = solve_slip_case(*tables)
    kept = {
        name: rounded(found[name])
        for name in (*KEPT, *MORE_KEPT)
        if name in found
    }
    return {"seed": seed, "inputs": checksum(tables)} | kept


def give_up(_signal: int, _frame: FrameType | None) -> None:
    raise TimeoutError


def main(first: int, last: int, file: Path = FILE) -> None:
    rows = json.loads(file.read_text())["cases"] if file.exists() else []
    known = {row["seed"] for row in rows}
    signal.signal(signal.SIGVTALRM, give_up)
    for seed in range(first, last):
        if seed in known:
            continue
        signal.setitimer(signal.ITIMER_VIRTUAL, PATIENCE)
        try:
            rows.append(answer(seed))
        except TimeoutError:
            rows.append(
                {
                    "seed": seed,
                    "inputs": checksum(drawn_tables(seed)),
                    "kind": "not solved in time",
                }
            )
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        write(sorted(rows, key=lambda row: row["seed"]), file)
        print(seed, rows[-1]["kind"], rows[-1].get("margin"), flush=True)


def write(rows: list[Table], file: Path) -> None:
    """One case a line."""
    note = "made by tests/reference/make_plain_cases.py: the independent plain program's output, SI units"
    lines = ",\n".join(json.dumps(row) for row in rows)
    file.write_text(f'{{"note": "{note}", "cases": [\n{lines}\n]}}\n')


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
