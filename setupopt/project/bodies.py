"""The bodies that the car can wear, and putting one on. A body goes by its name; None: that of car.toml."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import replace

from setupopt.errors import UserError
from setupopt.project.model import Body, Car, Project
from setupopt.project.toml_positions import quoted

FOLDER = "bodies"
OWN = "car.toml"  # how lists call the car's own body; no other one can have a dot in its name


def with_body(project: Project, name: str | None) -> Project:
    """The same project, its car and its setup wearing the body `name`, or with None that of car.toml.

    Raises UserError where there is no such body.
    """
    own = own_body(project)
    car = with_bodywork(
        project.car, own if name is None else _named(project, name)
    )
    setup = replace(project.setup, body=name)
    kept = None if name is None else own
    return replace(project, car=car, setup=setup, own_body=kept)


def with_bodywork(car: Car, body: Body) -> Car:
    """The car in a body."""
    return replace(car, air=body.air, clearance=body.clearance)


def own_body(project: Project) -> Body:
    """The body of car.toml, whatever the car wears."""
    return project.own_body or Body(OWN, project.car.air, project.car.clearance)


def _named(project: Project, name: str) -> Body:
    for body in project.bodies:
        if body.name == name:
            return body
    raise UserError(
        f"body: found {quoted(name)}, expected {choices(name, (b.name for b in project.bodies))}"
    )


def choices(name: str, known: Iterable[str]) -> str:
    """What a body may be called instead, the nearest name first."""
    names = list(known)
    near = difflib.get_close_matches(name[:80], names, max(1, len(names)), 0.0)
    return (
        f"one of {', '.join(map(quoted, near))}"
        if near
        else f"none: there is no body in {FOLDER}/"
    )


def file_name(name: str) -> str:
    """Where a body stands in its project.

    >>> file_name("low drag")
    'bodies/low drag.toml'
    """
    return f"{FOLDER}/{name}.toml"


def body_label(name: str | None) -> str:
    """A body in a list of names."""
    return OWN if name is None else name


def body_words(name: str | None) -> str:
    """A body in a sentence.

    >>> body_words("low drag"), body_words(None)
    ('body "low drag"', 'body of car.toml')
    """
    return f"body of {OWN}" if name is None else f'body "{name}"'


def worn_words(project: Project, name: str | None) -> str:
    """What a heading says after the car: the body it wears. Empty for a project without other bodies."""
    return f" in the {body_words(name)}" if project.bodies else ""
