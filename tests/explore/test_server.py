"""The explore server: who gets an answer, what is written, and that exact answers are those of `assess`."""

from __future__ import annotations

import http.client
import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from report.report_folders import example

from setupopt.errors import UserError
from setupopt.evaluation.assessment import assess
from setupopt.explore import job as job_module
from setupopt.explore import session as session_module
from setupopt.explore.server import ExploreServer
from setupopt.explore.session import Session
from setupopt.explore.wish import Choices
from setupopt.project import load, read_setup
from setupopt.project.model import Project
from setupopt.units import N_PER_MM

SETUPS = Path(__file__).resolve().parents[2] / "setups"

Json = dict[str, Any]


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """The bore at thirteen roll angles."""
    return Session(
        load(example("bore", tmp_path_factory.mktemp("explore") / "bore"))
    )


@pytest.fixture(scope="module")
def server(session: Session) -> Iterator[ExploreServer]:
    """Its server, in a thread."""
    with ExploreServer(session) as one:
        threading.Thread(target=one.serve_forever, daemon=True).start()
        yield one
        one.shutdown()


@pytest.fixture
def state(session: Session) -> Json:
    """What a fresh page sends."""
    found: Json = session.answer("/project", {})["state"]
    return found


def ask(
    session: Session,
    state: Json,
    attitude: int = 0,
    place: int = 0,
    **more: Any,
) -> Json:
    """The answer to a page."""
    return session.answer(
        "/answer",
        {"state": state, "attitude": attitude, "place": place, **more},
    )


def turned(state: Json, **settings: float) -> Json:
    """Another state: settings by name, `__` for the dot."""
    named = {name.replace("__", "."): value for name, value in settings.items()}
    return {**state, "settings": {**state["settings"], **named}}


# ---- answers -----------------------------------------------------------------------------------------------


def test_exact_answers_are_those_of_assess(
    session: Session, state: Json
) -> None:
    """The page's worst margin, case, counts and limits are the command's, to the digits that are sent."""
    found = assess(session.project)
    page = ask(session, state)
    worst = page["worst"]
    assert page["exact"]
    assert worst["margin"] == pytest.approx(found.margin, abs=1e-12)
    assert (worst["attitude"], worst["place"]) == divmod(
        found.worst, found.result.cases.angles.size
    )
    assert worst["slides"] == found.result.sliding()
    assert page["broken"] == [limit.words for limit in found.broken]
    margins = np.array(page["margin"][:-1], dtype=float)
    assert (
        np.abs(margins.ravel() - found.result.margin[0]).max() < 1e-5
    )  # five digits are sent


def test_the_own_case_beside_the_venue_changes_no_verdict(
    session: Session, state: Json
) -> None:
    """The page's own case is the last line; as an attitude of the venue it has that attitude's margins."""
    own = {**state["own"], "crosswind_m_s": 6.0}
    page = ask(session, {**state, "own": own})
    assert page["worst"] == ask(session, state)["worst"]
    names = [attitude.name for attitude in session.project.venue.attitudes]
    assert page["margin"][-1] == page["margin"][names.index("crosswind")]


def test_quick_answers_are_marked_and_near(
    session: Session, state: Json
) -> None:
    """A tenth of a degree of camber: loads are solved, the margin by its slope errs by its curvature only."""
    other = turned(state, front__camber_deg=-1.6)
    ask(session, state)
    quick = ask(session, other, 3, 8, near=state)
    exact = ask(session, other, 3, 8)
    assert not quick["exact"] and exact["exact"]
    bare = ask(session, other, 3, 8, near=state, detail=False)
    assert bare == {
        key: value
        for key, value in quick.items()
        if key not in ("here", "drawings")
    }  # what is out of sight is left out, and nothing else
    assert (
        np.abs(
            np.array(quick["here"]["load_N"]) - exact["here"]["load_N"]
        ).max()
        <= 0.2
    )  # N, of 4 digits
    gap = np.array(quick["margin"][3], dtype=float) - np.array(
        exact["margin"][3], dtype=float
    )
    moved = np.array(exact["margin"][3], dtype=float) - np.array(
        ask(session, state, 3, 8)["margin"][3], float
    )
    assert (
        np.abs(gap).max() < 0.2 * np.abs(moved).max()
    )  # the rest of a step by its slope is of second order


def test_a_slider_that_moves_unlike_sides_says_so() -> None:
    """One range in limits.toml for both sides of an axle that have springs of their own: the mean is no spring."""
    choices = Choices(load(SETUPS / "oval"))
    words = {one["name"]: one["words"] for one in choices.as_dict()["settings"]}
    assert words["front.anti_roll_N_per_mm"] == "anti roll"
    bank = load(SETUPS / "bank")
    front = bank.setup.front
    right = replace(front.right, spring=1.25 * front.spring)
    unlike = replace(bank.setup, front=replace(front, right=right))
    choices = Choices(replace(bank, setup=unlike))
    (spring,) = [
        one["words"]
        for one in choices.as_dict()["settings"]
        if one["name"] == "front.spring_N_per_mm"
    ]
    left = front.spring / N_PER_MM
    assert f"left {left:g}, right {1.25 * left:g}" in spring


def test_a_file_that_is_changed_meanwhile_is_named(
    session: Session, state: Json
) -> None:
    """Answers stay those of the files as they were read; the page says which one is another now."""
    path = session.project.folder / "car.toml"
    before = ask(session, state)
    text, then = path.read_text(), path.stat().st_mtime_ns
    path.write_text(text.replace("mass_kg = ", "mass_kg = 1"))
    os.utime(path, (1.0, 1.0))
    try:
        after = ask(session, state)
    finally:
        path.write_text(text)
        os.utime(path, ns=(then, then))
    assert (before["changed"], after["changed"]) == ([], ["car.toml"])
    assert after["worst"] == before["worst"]


def test_the_file_of_a_survey_counts_too(tmp_path: Path) -> None:
    """Only venue.toml names it; a circle has none."""
    said = '[section]\nsurvey = "wall.csv"\n'
    (tmp_path / "venue.toml").write_text(said, encoding="utf-8")
    circle, survey = (
        SimpleNamespace(folder=tmp_path, venue=SimpleNamespace(section=kind))
        for kind in ("circle", "survey")
    )
    assert session_module._survey(cast(Project, circle)) == []
    assert session_module._survey(cast(Project, survey)) == [
        tmp_path / "wall.csv"
    ]


def test_bad_places_are_those_that_slide_or_break_a_limit(
    session: Session, state: Json
) -> None:
    """A setup with springs so soft that stops are reached breaks a limit, at places that are marked."""
    page = ask(
        session,
        turned(state, front__spring_N_per_mm=20.0, rear__spring_N_per_mm=20.0),
    )
    assert page["broken"] and any(page["bad"])
    assert not any(ask(session, state)["bad"])


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (
            lambda state: turned(state, front__camber_deg=-20.0),
            "front.camber_deg",
        ),
        (
            lambda state: turned(state, front__camber_deg=float("nan")),
            "front.camber_deg",
        ),
        (
            lambda state: turned(state, front__caster_deg=1.0),
            "front.caster_deg",
        ),
        (lambda state: {**state, "speed": 1e4}, "speed_m_s"),
        (lambda state: {**state, "body": "no such"}, "body"),
        (lambda state: {**state, "own": {}}, "heading_deg"),
        (lambda state: {**state, "settings": []}, "settings"),
        (lambda state: [], "state"),
    ],
)
def test_wrong_states_are_refused_by_name(
    session: Session, state: Json, change: Callable[[Json], Any], named: str
) -> None:
    """What a page sends is input like any other."""
    with pytest.raises(UserError, match=named):
        ask(session, change(state))


# ---- who is answered ---------------------------------------------------------------------------------------


def request(
    server: ExploreServer,
    method: str,
    path: str,
    body: Any = None,
    **headers: str,
) -> Any:
    """One request; the answer, read."""
    host = f"127.0.0.1:{server.server_port}"
    given = {
        "Host": host,
        "Cookie": server.cookie,
        "Origin": f"http://{host}",
        **headers,
    }
    line = http.client.HTTPConnection(
        "127.0.0.1", server.server_port, timeout=20
    )
    kept = {
        name.replace("_", "-"): value for name, value in given.items() if value
    }
    text = (
        None
        if body is None
        else body
        if isinstance(body, str)
        else json.dumps(body)
    )
    if text is not None:
        kept.setdefault("Content-Type", "application/json")
    line.request(method, path, text, kept)
    answer = line.getresponse()
    answer.text = answer.read().decode()  # type: ignore[attr-defined]
    line.close()
    return answer


def test_the_page_and_all_its_files(server: ExploreServer) -> None:
    """Served to the browser that holds the cookie, with a policy that loads nothing from elsewhere."""
    for path in (
        "/",
        "/page.js",
        "/page.css",
        "/report.css",
        "/uPlot.js",
        "/uPlot.css",
        "/uPlot-LICENSE.txt",
    ):
        answer = request(server, "GET", path)
        assert answer.status == 200
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
    assert "MIT" in request(server, "GET", "/uPlot-LICENSE.txt").text
    assert request(server, "GET", "/../server.py").status == 404
    assert request(server, "POST", "/nothing", {}).status == 404


@pytest.mark.parametrize(
    "wrong",
    [
        {"Host": "evil.example"},
        {"Host": "127.0.0.1"},
        {"Host": "127.0.0.2:80"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Cookie": ""},
        {"Cookie": "setupopt-1=guess"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Content_Type": "text/plain"},
        {"Content_Length": "99999999"},
    ],
)
def test_questions_of_others_are_refused(
    server: ExploreServer, wrong: dict[str, str]
) -> None:
    """Another name of this machine, another page, another browser, a form, a flood: 403, and no answer."""
    assert request(server, "POST", "/proposal", {}).status == 200
    answer = request(server, "POST", "/proposal", {}, **wrong)
    assert answer.status == 403
    assert set(json.loads(answer.text)) == {"error"}


def test_other_addresses_reach_nothing(server: ExploreServer) -> None:
    """It listens on 127.0.0.1 alone: a second address of this machine, as another machine's, is refused."""
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(
            ("127.0.0.2", server.server_port), timeout=5
        ).close()
    assert (
        request(
            server, "GET", "/", Host=f"127.0.0.2:{server.server_port}"
        ).status
        == 403
    )


def test_the_token_opens_once(session: Session) -> None:
    """It is exchanged for a cookie that scripts cannot read and other sites cannot send."""
    with ExploreServer(session) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        path = server.address[server.address.index("/?") :]
        assert request(server, "GET", "/?token=guess", Cookie="").status == 403
        first = request(server, "GET", path, Cookie="")
        assert first.status == 303 and first.headers["Location"] == "/"
        assert {"HttpOnly", "SameSite=Strict"} <= set(
            first.headers["Set-Cookie"].split("; ")
        )
        assert request(server, "GET", path, Cookie="").status == 403
        assert (
            request(server, "GET", path).status == 303
        )  # the same browser again
        assert request(server, "GET", "/", Cookie="").status == 403
        server.shutdown()


def test_refusals_come_as_text(server: ExploreServer, state: Json) -> None:
    """Nonsense is answered, and the server goes on."""
    for body in ("{", "[]", '{"state": NaN}', "[" * 40_000):
        answer = request(server, "POST", "/answer", body)
        assert answer.status == 400 and json.loads(answer.text)["error"]
    good = request(
        server, "POST", "/answer", {"state": state, "attitude": 0, "place": 0}
    )
    assert good.status == 200


# ---- saving and proposing ----------------------------------------------------------------------------------


def test_saving_writes_new_files_only(session: Session, state: Json) -> None:
    """The file reads back as the page's setup. One that is there, or a name elsewhere, is refused."""
    asked = {"state": turned(state, rear__ride_height_mm=51.5), "name": "try 1"}
    path = Path(session.answer("/save", asked)["saved"])
    assert path.parent == session.project.folder
    saved = read_setup(path)
    assert (saved.name, saved.rear.ride_height) == (
        "try 1",
        pytest.approx(0.0515),
    )
    before = path.read_text()
    assert "worst margin" in before
    for name in (
        "try 1",
        "try 1.toml",
        "car",
        "../up",
        "/tmp/x",
        "",
        ".hidden",
        "a" * 200,
        "\x1b[2J",
        None,
    ):
        with pytest.raises(UserError):
            session.answer("/save", {**asked, "name": name})
    assert path.read_text() == before
    path.unlink()


def test_a_proposal_runs_in_the_background_and_stops(
    session: Session, state: Json, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search, here one that never ends, is left at its next step; a second start changes nothing."""

    def endless(
        project: Any, options: Any, progress: Callable[[str], object]
    ) -> None:
        while True:
            progress(f"from {project.setup.front.camber:.4f}")
            time.sleep(0.005)

    def waited(kind: str) -> Json:
        end = time.monotonic() + 10.0
        while (found := session.answer("/proposal", {}))[
            "state"
        ] != kind or found["words"] == "loading":
            assert time.monotonic() < end, found
            time.sleep(0.005)
        return found

    monkeypatch.setattr(job_module, "propose", endless)
    assert (
        session.answer(
            "/propose", {"state": turned(state, front__camber_deg=-3.0)}
        )["state"]
        == "running"
    )
    assert waited("running")["words"] == "from -0.0524"
    session.answer("/propose", {"state": state})
    assert waited("running")["words"] == "from -0.0524"
    session.answer("/stop", {})
    assert "proposal" not in waited("stopped")
