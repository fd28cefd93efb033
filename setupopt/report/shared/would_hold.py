"""What would hold a car that slides or loses contact, in words."""

from __future__ import annotations

from setupopt.evaluation.would_hold import COURSES, FASTER, SLOWER, WouldHold


def would_hold_words(found: WouldHold | None) -> str:
    """A sentence for a screen; empty for a car that holds."""
    if found is None:
        return ""
    speeds = [
        f"{speed:g}"
        for speed in (found.slower_m_s, found.faster_m_s)
        if speed is not None
    ]
    options = []
    if speeds:
        options.append(f"a speed of {' or '.join(speeds)} m/s in all cases")
    if found.course_deg is not None:
        options.append(
            f"in the worst case a course of {found.course_deg:g} deg"
        )
    if found.setting is not None:
        options.append(f"{found.setting} at {found.value:g} {found.unit}")
    if not options:
        return (
            f"Nothing that was tried alone holds it: speeds from {SLOWER[-1]:g} to {FASTER[-1]:g} times this "
            f"one, courses up to {COURSES[-1]:g} deg away, each setting over its range in limits.toml."
        )
    none = (
        ""
        if found.setting
        else " No single setting inside limits.toml that was tried does."
    )
    return f"What would hold it, each alone, by the model: {'; '.join(options)}.{none}"
