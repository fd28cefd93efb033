"""Project, setups and cases in, a Result out: where the physics meets the project."""
