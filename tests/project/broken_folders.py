"""Deliberately broken project folders: the good one with one thing wrong, in many hundreds of ways."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from .good_folder import FILES, write_folder

OPTIONAL = {
    "pitch_inertia_kgm2", "roll_inertia_kgm2", "power_kW", "damper_bump_Ns_per_mm",
    "damper_rebound_Ns_per_mm", "load_limit_N", "damping_Ns_per_mm", "roughness", "heading_deg",
    "acceleration_m_s2", "path_curvature_per_m", "turn_radius_m", "headwind_m_s", "crosswind_m_s",
    "bump_mm", "third_N_per_mm", "least_static_gap_mm", "yaw_inertia_kgm2", "wheel_inertia_kgm2",
    "toe_over_mm", "camber_thrust_share", "friction_least_pressure_kPa", "carcass_N_per_mm",
    "carcass_per_bar_N_per_mm", "relaxation_mm", "measured_pressure_bar", "yaw_acceleration_rad_s2",
    "driver_reaction_s", "steer_limit_deg", "steer_rate_deg_s",
}  # fmt: skip
SIGNED = {
    "roll_centre_height_mm", "camber_gain_deg_per_mm", "anti_slope", "side_station_mm",
    "front_ride_station_mm", "rear_ride_station_mm", "station_mm", "offset_mm", "free_area_m2",
    "side_mm", "slope_percent", "heading_deg", "acceleration_m_s2", "path_curvature_per_m",
    "headwind_m_s", "crosswind_m_s", "camber_deg", "toe_mm", "room_mm", "room_mm_per_deg",
    "travel_left_least_mm", "camber_deg_per_mm_shim", "ride_height_mm_per_turn", "yaw_acceleration_rad_s2",
    "from_deg", "to_deg", "least_margin",
}  # fmt: skip
# A value written in a unit a thousand times larger or smaller: these must not slip through
TOO_LARGE_BY_1000 = {
    "mass_kg", "wheelbase_mm", "front_weight_percent", "cg_height_mm", "drive_front_percent",
    "brake_front_percent", "power_kW", "track_mm", "unsprung_mass_kg", "unsprung_height_mm",
    "motion_ratio", "bump_travel_mm", "droop_travel_mm", "stop_rate_N_per_mm", "anti_slope",
    "damper_bump_Ns_per_mm", "damper_rebound_Ns_per_mm", "tread_width_mm", "friction",
    "friction_pressure_kPa", "load_limit_N", "damping_Ns_per_mm", "spring_N_per_mm", "pressure_bar",
    "camber_deg", "ride_height_mm", "surface_grip", "air_density_kg_m3", "anti_roll_N_per_mm",
    "third_N_per_mm", "toe_mm", "peak_gap_mm", "chord_mm", "span_mm",
    "surface_grip_percent", "downforce_percent", "drag_percent", "side_force_percent", "mass_percent",
    "tyre_friction_percent", "shear_per_foundation", "camber_thrust_share", "friction_least_pressure_kPa",
    "carcass_N_per_mm", "carcass_per_bar_N_per_mm", "yaw_inertia_kgm2", "wheel_inertia_kgm2", "toe_over_mm",
    "relaxation_mm",
}  # fmt: skip
TOO_SMALL_BY_1000 = {
    "mass_kg", "wheelbase_mm", "front_weight_percent", "cg_height_mm", "drive_front_percent",
    "brake_front_percent", "power_kW", "track_mm", "unsprung_mass_kg", "unsprung_height_mm",
    "motion_ratio", "radius_mm", "tread_width_mm", "crown_radius_mm", "friction",
    "friction_pressure_kPa", "load_limit_N", "peak_gap_mm", "chord_mm", "span_mm", "surface_grip",
    "air_density_kg_m3", "spring_N_per_mm", "pressure_bar", "ride_height_mm", "pitch_inertia_kgm2",
    "roll_inertia_kgm2", "turn_radius_m", "shear_per_foundation", "yaw_inertia_kgm2", "wheel_inertia_kgm2",
    "toe_over_mm", "relaxation_mm",
}  # fmt: skip
OPTIONAL_FILES = {
    "limits.toml"
}  # and everything in it, but for the keys of these tables
HELD_TABLES = ("tolerance", "packaging.arch", "packaging.wheel_load")
NOT_TOML = {
    "empty": b"",
    "only blank lines": b"\n \n",
    "binary": bytes(range(256)),
    "zeros": b"\0" * 64,
    "another encoding": b'[car]\nname = "Stra\xdfe"\n',
    "prose": b"the car is quick\n",
    "a picture": b"\x89PNG\r\n\x1a\n" + b"\0" * 32,
}


class Broken(NamedTuple):
    """A folder with one thing wrong, and what the refusal must name."""

    name: str
    folder: Path
    file: str
    key: str


class Line(NamedTuple):
    """A `key = value` line of a good file."""

    file: str
    number: int
    table: str  # as people say it: "attitude[2]"
    key: str
    value: str

    @property
    def full(self) -> str:
        """The key with its table; keys at the top of a file have none."""
        return f"{self.table}.{self.key}".lstrip(".")

    @property
    def needed(self) -> bool:
        if self.file in OPTIONAL_FILES:
            return self.table.partition("[")[0] in HELD_TABLES
        return self.key not in OPTIONAL and (self.table, self.key) != (
            "attitude[2]",
            "speed_m_s",
        )

    @property
    def is_number(self) -> bool:
        return self.value[0] in "-0123456789"


def good_lines() -> Iterator[Line]:
    """Every key of the good folder; found by hand-made means, not by the package."""
    for file, text in FILES.items():
        counts: dict[str, int] = {}
        table = ""
        for number, line in enumerate(text.splitlines(), start=1):
            if line.startswith("[["):
                name = line.strip("[]")
                counts[name] = counts.get(name, 0) + 1
                table = f"{name}[{counts[name]}]"
            elif line.startswith("["):
                table = line.strip("[]")
            elif " = " in line:
                key, _, value = line.partition(" = ")
                yield Line(file, number, table, key, value)


def broken_folders(tmp: Path) -> Iterator[Broken]:
    """Broken folders under `tmp`, one after another."""
    for count, (name, file, key, content) in enumerate(_breaks()):
        folder = write_folder(
            tmp / f"{count:04d}", **{file.removesuffix(".toml"): content}
        )
        yield Broken(f"{file}: {name}", folder, file, key)


def broken_lines() -> Iterator[tuple[str, Line, str, str]]:
    """What is wrong, the line, the key to be named, and the line to put in its place."""
    for line in good_lines():
        full = line.full
        if line.needed:
            yield "missing key", line, full, "# nothing"
        yield "misspelt key", line, full + "x", f"{line.key}x = {line.value}"
        for wrong, value in _wrong_values(line):
            yield wrong, line, full, f"{line.key} = {value}"


def _breaks() -> Iterator[tuple[str, str, str, str | bytes | None]]:
    for wrong, line, key, instead in broken_lines():
        yield f"{wrong} {key}", line.file, key, with_line(line, instead)
    for line in good_lines():
        twice = f"{line.key} = {line.value}\n{line.key} = {line.value}"
        yield (
            f"duplicate {line.key}",
            line.file,
            line.full,
            with_line(line, twice),
        )
    for file in FILES:
        yield from (
            (name, file, "", raw)
            for name, raw in NOT_TOML.items()
            if name != "prose"
        )
        yield "prose", file, "the.car.is.quick", NOT_TOML["prose"]
        if file not in OPTIONAL_FILES:
            yield "missing file", file, "", None
    yield from _broken_tables()


def with_line(line: Line, instead: str) -> str:
    """The good file with one line replaced."""
    lines = FILES[line.file].splitlines()
    lines[line.number - 1] = instead
    return "\n".join(lines) + "\n"


def _wrong_values(line: Line) -> Iterator[tuple[str, str]]:
    if line.value not in ("true", "false"):
        yield "bool", "true"
    # Of what is like them in every line, one a line in turn
    kinds = (
        ("table", "{ a = 1 }"),
        ("date", "2020-01-01"),
        ("nested list", "[[1]]"),
    )
    yield kinds[line.number % 3]
    if line.is_number:
        yield from _wrong_numbers(line)
    elif line.value.startswith('"'):
        yield "number for text", "3"
        yield "empty text", '""'
        yield "control character", r'"a\u001b[2J"'
        yield "far too long", '"' + "x" * 81 + '"'
    else:
        yield "a number alone", "-7e9"
        yield "text", '"all of it"'
        yield "inf", "[inf]"
        yield "empty list", "[]"


def _wrong_numbers(line: Line) -> Iterator[tuple[str, str]]:
    value = float(line.value)
    yield "quoted number", f'"{line.value}"'
    endless = ("nan", "nan"), ("inf", "inf"), ("minus inf", "-inf")
    yield endless[line.number % 3]
    far = ("huge", "1e12"), ("hugely negative", "-1e12"), ("empty list", "[]")
    yield far[line.number % 3]
    if line.key not in SIGNED and value:
        yield "negative", repr(-value)
    if line.table.startswith(("tolerance", "packaging")) or not value:
        return
    if line.key in TOO_LARGE_BY_1000:
        yield "a thousand times too large", repr(value * 1000)
    if line.key in TOO_SMALL_BY_1000:
        yield "a thousand times too small", repr(value / 1000)


def _broken_tables() -> Iterator[tuple[str, str, str, str]]:
    required = {
        "car.toml": ("car", "front", "rear", "tyre", "air"),
        "venue.toml": ("venue", "sweep", "attitude"),
        "setup.toml": ("setup", "front", "rear"),
    }
    for file, tables in required.items():
        for table in tables:
            yield (
                f"missing table {table}",
                file,
                table,
                _without(FILES[file], table),
            )
    yield (
        "missing list air.element",
        "car.toml",
        "air.element",
        _without(FILES["car.toml"], "air.element"),
    )
    for file, text in FILES.items():
        for header in [
            line
            for line in text.splitlines()
            if line.startswith("[") and line[1] != "["
        ]:
            yield (
                f"duplicate table {header}",
                file,
                header.strip("[]"),
                f"{text}\n{header}\n",
            )
        yield "unknown table", file, "engine", f"{text}\n[engine]\nrevs = 1\n"


def _without(text: str, table: str) -> str:
    kept, inside = [], False
    for line in text.splitlines():
        if line.startswith("["):
            name = line.strip("[]")
            inside = name == table or name.startswith(table + ".")
        if not inside:
            kept.append(line)
    return "\n".join(kept) + "\n"
