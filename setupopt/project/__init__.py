"""What the user describes: reading a project folder, and writing a setup."""

from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.project.needs import need
from setupopt.project.reading import load, read_setup
from setupopt.project.writing import setup_as_dict, write_setup

__all__ = [
    "Project",
    "Setup",
    "load",
    "need",
    "read_setup",
    "setup_as_dict",
    "with_body",
    "write_setup",
]
