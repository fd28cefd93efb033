"""One proposal at a time in the background, with its state in words, and a stop."""

from __future__ import annotations

import threading
from dataclasses import replace

from setupopt.errors import UserError
from setupopt.explore.wish import Choices, Json, Wish
from setupopt.project.model import Project
from setupopt.search import ProposalOptions, propose


class _Stopped(Exception):  # noqa: N818 - it is no error
    """Leaves the search at its next step."""


class ProposalJob:
    """The search for a better setup from where a page stands. The last proposal is kept until the next."""

    def __init__(self, choices: Choices) -> None:
        self._choices = choices
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._state: Json = {"state": "none"}
        self._thread: threading.Thread | None = None

    def state(self) -> Json:
        """`state`: none, running, done, stopped or refused; `words`, and the proposal where there is one."""
        with self._lock:
            return dict(self._state)

    def start(self, wish: Wish) -> Json:
        """Begin, unless one is running. Raises UserError for a state that is refused."""
        project = self._choices.apply(wish)
        venue = replace(project.venue, attitudes=project.venue.attitudes[:-1])
        with self._lock:
            if self._state["state"] != "running":
                self._stop.clear()
                self._state = {"state": "running", "words": "loading"}
                job = (replace(project, venue=venue), wish)
                self._thread = threading.Thread(
                    target=self._run, args=job, daemon=True
                )
                self._thread.start()
        return self.state()

    def stop(self) -> Json:
        """Ask it to end; it does so at its next step."""
        self._stop.set()
        return self.state()

    def _say(self, words: str) -> None:
        if self._stop.is_set():
            raise _Stopped
        self._put({"state": "running", "words": words})

    def _put(self, state: Json) -> None:
        with self._lock:
            self._state = state

    def _run(self, project: Project, wish: Wish) -> None:
        try:
            found = propose(project, ProposalOptions(loss=0.0), self._say)
            settings = dict(self._choices.of_setup(found.setup).settings)
            margin = (
                f"worst margin {found.margin:.3f}"
                if found.margin > -9.0
                else "contact lost"
            )
            fails = (
                ""
                if found.holds
                else "; it FAILS a limit, slides or loses contact"
            )
            words = f"{margin} at {wish.speed:g} m/s{fails}"
            proposal = {"body": found.setup.body, "settings": settings}
            self._put({"state": "done", "words": words, "proposal": proposal})
        except _Stopped:
            self._put(
                {
                    "state": "stopped",
                    "words": "stopped; parts that were solved are kept",
                }
            )
        except UserError as refused:
            self._put({"state": "refused", "words": str(refused)})
        except Exception as error:  # a thread has nobody else to tell
            self._put(
                {
                    "state": "refused",
                    "words": f"the search failed: {type(error).__name__}: {error}",
                }
            )
            raise
