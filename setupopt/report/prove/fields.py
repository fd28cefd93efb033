"""A proof, judged, for scripts and for words; its text stands in `proof_text`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import cached_property

import numpy as np

from setupopt.evaluation.result import Field, degrees, finite
from setupopt.evaluation.would_hold import WouldHold, would_hold
from setupopt.project.csv_write import rows_text
from setupopt.report.prove.road import RoadTable, road_tables
from setupopt.report.shared.plain import picked, plain, setup_fields
from setupopt.robust.best_single_step import Change
from setupopt.robust.builds.quasi_monte_carlo import MarginDistribution
from setupopt.robust.builds.worst_build import WorstBuild
from setupopt.robust.obstacle import TRACKS
from setupopt.robust.ride_model import REASONS
from setupopt.robust.road.profile import published_index, roughness_index
from setupopt.robust.road.spectrum import class_letter
from setupopt.robust.robustness import RobustnessReport
from setupopt.robust.verdict import Verdict
from setupopt.robust.verdicts import verdicts
from setupopt.units import DEG, MM, ROUGHNESS

PERCENTILES = (0.01, 0.05, 0.5)


@dataclass(frozen=True)
class JudgedReport:
    """A proof with its verdicts."""

    proof: RobustnessReport

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One row for each thing to stand, the broken ones first."""
        return verdicts(self.proof)

    @property
    def holds(self) -> bool:
        """Whether everything that was asked for is stood."""
        return all(verdict.holds is not False for verdict in self.verdicts)

    @cached_property
    def roads(self) -> tuple[RoadTable, ...]:
        """Linear and nonlinear answers side by side, for each case that was ridden."""
        return road_tables(self.proof)

    @cached_property
    def indices(self) -> tuple[tuple[float, float], ...]:
        """Roughness index of each measured track, mm/m: by the own step, and by the published matrices."""
        profile = self.proof.plan.profile
        if profile is None:
            return ()
        own = roughness_index(profile)[:, 0]
        published = published_index(profile)
        return tuple(
            (1e3 * float(one), 1e3 * float(other))
            for one, other in zip(own, published, strict=True)
        )

    @cached_property
    def would_hold(self) -> WouldHold | None:
        """What would hold the setup without any disturbance, where it slides or loses contact."""
        p = self.proof
        return would_hold(replace(p.project, setup=p.setup), p.steady)

    def place(self, row: int | None) -> Field:
        """Number, roll angle and attitude of a case; None where there is none."""
        if row is None or row < 0:
            return {"case": None, "roll_angle_deg": None, "attitude": None}
        cases = self.proof.steady.cases
        angle = degrees(cases.records["roll_angle"][row])
        place = {"case": row + 1, "roll_angle_deg": angle, **cases.along(row)}
        return {**place, "attitude": cases.attitude[row]}

    def by_attitude(self, rows: np.ndarray) -> dict[str, list[Field]]:
        """The places of the chosen cases (cases), by attitude."""
        found: dict[str, list[Field]] = {}
        for row in np.flatnonzero(rows):
            place = self.place(int(row))
            found.setdefault(place["attitude"], []).append(place)
        return found

    def as_dict(self) -> Field:
        """For scripts; plain Python values, None for what has no answer."""
        p = self.proof
        return {
            "holds": self.holds,
            "floor": p.plan.floor,
            "every": p.plan.every,
            "setup": setup_fields(p.project, p.setup),
            "verdicts": [
                {
                    **picked(
                        verdict, "what", "found", "asked", "unit", "holds"
                    ),
                    **self.place(verdict.row),
                    "how": verdict.how,
                    "change": None
                    if verdict.change is None
                    else change_fields(verdict.change),
                }
                for verdict in self.verdicts
            ],
            "worst": p.steady.fields(int(p.steady.worst[0])),
            "contact_lost": p.steady.lost(),
            "would_hold": self.would_hold and asdict(self.would_hold),
            "cases": list(self.cases()),
            "wind": list(self.winds()),
            "faults": list(self.faults()),
            "road": self._road(),
            "build": self._build(),
            "cautions": list(p.project.cautions),
        }

    def cases(self) -> Iterator[Field]:
        """Every case with its bump allowance and its linear answer on the road."""
        p = self.proof
        allowed = self.proof.bump.allowance
        for row in range(len(p.steady.cases)):
            found = np.isfinite(allowed.length[row])
            yield plain(
                {
                    **self.place(row),
                    "margin": p.steady.margin[0, row],
                    "bump_mm": allowed.height[row] / MM,
                    "bump_length_m": allowed.length[row],
                    "bump_track": TRACKS[int(allowed.track[row])]
                    if found
                    else None,
                    "bump_reason": REASONS[int(allowed.reason[row])],
                    "bump_instantaneous_mm": allowed.instant[row] / MM,
                    "seam_mm": allowed.seam[row] / MM,
                    "seam_ramp_mm": allowed.ramp[row] / MM,
                    "driven_growth_per_s": allowed.growth[row],
                    "slowest_reaction_s": allowed.reaction[row],
                    **self._linear(row),
                }
            )

    def _linear(self, row: int) -> Field:
        names = ("mean_margin", "sigma_margin", "crossing_rate", "chance")
        if self.proof.road is None:
            return {f"road_{name}": None for name in names}
        return {
            f"road_{name}": finite(self.proof.road.linear[name][row])
            for name in names
        }

    def winds(self) -> Iterator[Field]:
        """Gust and steady wind by direction."""
        for found in self.proof.gust.found:
            steady = int(found["steady_case"])
            yield plain(
                {
                    "from_deg": degrees(found["direction"]),
                    "gust_m_s": found["speed"],
                    "gust_length_m": found["length"],
                    "gust_reason": REASONS[int(found["reason"])],
                    "gust_instantaneous_m_s": found["instant"],
                    "step_m_s": found["step"],
                    **self.place(int(found["case"])),
                    "steady_m_s": found["steady_speed"],
                    "steady_case": steady + 1 if steady >= 0 else None,
                }
            )

    def faults(self) -> Iterator[Field]:
        """Every fault at every roll angle, in the case with the least margin there."""
        study = self.proof.faults
        for found in study.found:
            yield plain(
                {
                    "fault": study.names[int(found["fault"])],
                    **self.place(int(found["row"])),
                    "stood": bool(found["reason"] == REASONS.index("stood")),
                    "reason": REASONS[int(found["reason"])],
                    "drift_mm": found["drift"] / MM,
                    "sideslip_deg": found["sideslip"] / DEG,
                    "seconds": found["seconds"],
                }
            )

    def _road(self) -> Field | None:
        study = self.proof.road
        if study is None:
            return None
        road = study.plan.road
        return {
            "coefficient_1e-6m3": road.coefficient / ROUGHNESS,
            "class": class_letter(road.coefficient),
            "waviness": road.waviness,
            "measured": study.plan.profile is not None,
            "roughness_index_mm_per_m": [own for own, _ in self.indices],
            "roughness_index_published_mm_per_m": [
                published for _, published in self.indices
            ],
            "run_seconds": study.plan.seconds,
            "rides": [
                {**self.place(table.row), **table.as_dict()}
                for table in self.roads
            ],
        }

    def _build(self) -> Field:
        build = self.proof.build
        boxes = {"tolerance": build.build, "inputs": build.inputs}
        found: Field = {
            name: None
            if box is None
            else {"stands": box.stands, **self._worst(box.worst)}
            for name, box in boxes.items()
        }
        found["both"] = None if build.both is None else self._worst(build.both)
        return {
            **found,
            "cloud": cloud_fields(build.cloud, self.proof.plan.floor),
        }

    def _worst(self, worst: WorstBuild) -> Field:
        return plain(
            {
                "margin": worst.margin,
                **self.place(worst.case),
                "errors": {
                    name: error for name, error in worst.errors.items() if error
                },
                "costs": [
                    picked(cost, error="name", times="error", loss="loss")
                    for cost in worst.costs
                ],
            }
        )


def cloud_fields(cloud: MarginDistribution, floor: float) -> Field:
    """What is kept of a cloud of builds."""
    share = cloud.share_under(floor)
    return plain(
        {
            **picked(
                cloud, builds="count", contact_lost="lost", least_margin="least"
            ),
            "percentiles": {
                f"{100 * share:g}": cloud.percentile(share)
                for share in PERCENTILES
            },
            "under_floor_percent": [round(100.0 * value, 6) for value in share],
        }
    )


def change_fields(change: Change) -> Field:
    """A single step of a setting."""
    fields = asdict(change)
    del fields["setup"]
    fields["from"] = fields.pop("from_")
    return plain(fields)


def csv_text(judged: JudgedReport) -> str:
    """One row for every case: margin, bump allowance, linear answer on the road."""
    return rows_text(list(judged.cases()))
