"""What a page may ask, each question by its path, and who answers it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import numpy as np

from setupopt.evaluation.cases import sweep_at
from setupopt.explore.answer import Answers
from setupopt.explore.job import ProposalJob
from setupopt.explore.save import save_setup
from setupopt.explore.wish import OWN_CASE, Json, Wish
from setupopt.project.bodies import body_label
from setupopt.project.model import Project
from setupopt.report.shared.words import CLOSING
from setupopt.units import DEG, MM


class Session:
    """One project while its server runs. Pages keep their own state; the session keeps answers."""

    def __init__(self, project: Project) -> None:
        self.project = project
        self.answers = Answers(project)
        self._survey = _survey(project)
        self._written = self._times()
        self.job = ProposalJob(self.answers.choices)
        self._questions: dict[str, Callable[[Json], Json]] = {
            "/project": self._about,
            "/answer": self._answer,
            "/save": self._save,
            "/propose": lambda asked: self.job.start(self._read(asked)),
            "/stop": lambda _: self.job.stop(),
            "/proposal": lambda _: self.job.state(),
        }

    def answer(self, path: str, asked: Json) -> Json:
        """The answer to a question. Raises KeyError for an unknown one, UserError for one that is refused."""
        return self._questions[path](asked)

    def _answer(self, asked: Json) -> Json:
        """With an exact answer the files that were changed since the project was read, by name."""
        found = self.answers.answer(asked)
        if found["exact"]:
            now = self._times()
            found["changed"] = sorted(
                {path.name for path, _ in now.items() ^ self._written.items()}
            )
        return found

    def _times(self) -> dict[Path, float]:
        """When the files were written that a page's answers hang on, besides its setup."""
        folder = self.project.folder
        files = [folder / f"{name}.toml" for name in ("car", "venue", "limits")]
        files += [*folder.glob("bodies/*.toml"), *self._survey]
        return {path: path.stat().st_mtime for path in files if path.is_file()}

    def warm_up(self) -> None:
        """Answer the first question of every page, so that no page waits for the compiler."""
        self.answers.answer({"state": self._today(), "attitude": 0, "place": 0})

    def _today(self) -> Json:
        today = self.answers.choices.today()
        own = {
            one.key: value
            for one, value in zip(OWN_CASE, today.own, strict=True)
        }
        return {**asdict(today), "settings": dict(today.settings), "own": own}

    def _read(self, asked: Json) -> Wish:
        return self.answers.choices.read(asked.get("state"))

    def _about(self, asked: Json) -> Json:
        """All that a page shows before anything is computed."""
        project = self.project
        choices = self.answers.choices
        is_along = project.venue.profile is not None
        at = sweep_at(project.venue) / (MM if is_along else DEG)
        return {
            **choices.as_dict(),
            "state": self._today(),
            "car": project.car.name,
            "venue": project.venue.name,
            "setup": project.setup.name,
            "folder": str(project.folder),
            "attitudes": [
                *(one.name for one in project.venue.attitudes),
                choices.own_name,
            ],
            "at": np.round(at, 0 if is_along else 2).tolist(),
            "at_words": "mm along the section"
            if is_along
            else "roll angle deg",
            "cautions": [CLOSING, *project.cautions],
            "assumed": list(project.assumed),
            "own_body": body_label(None),
        }

    def _save(self, asked: Json) -> Json:
        """Saved with its exact margin, which is computed where the page did not wait for it."""
        wish = self._read(asked)
        worst = self.answers.answer(
            {"state": asked.get("state"), "attitude": 0, "place": 0}
        )["worst"]
        margin = -np.inf if worst["margin"] is None else worst["margin"]
        path = save_setup(self.answers.choices, wish, asked.get("name"), margin)
        return {"saved": str(path)}


def _survey(project: Project) -> list[Path]:
    """The file of a surveyed section, which only venue.toml names."""
    if project.venue.section != "survey":
        return []
    said = tomllib.loads((project.folder / "venue.toml").read_text("utf-8"))
    return [project.folder / said["section"]["survey"]]
