"""Names of configurations as names of bodies."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_LONGEST = 40  # letters, as project/body_files.py has it
_ODD = re.compile(r"[^A-Za-z0-9 _-]+")


def body_names(labels: Iterable[str]) -> dict[str, str]:
    """For each configuration a name that the file of a body may have, every one once, also in small letters.

    >>> body_names(["high", "Höhe 2/3", "High"])
    {'high': 'high', 'Höhe 2/3': 'Hohe 2_3', 'High': 'High_2'}
    """
    names: dict[str, str] = {}
    for label in labels:
        plain = unicodedata.normalize("NFKD", label)
        base = _ODD.sub(
            "_", "".join(c for c in plain if not unicodedata.combining(c))
        ).strip()
        names[label] = _unused(
            base[:_LONGEST].strip() or "_",
            {name.lower() for name in names.values()},
        )
    return names


def _unused(base: str, taken: set[str]) -> str:
    name, count = base, 1
    while name.lower() in taken:
        count += 1
        name = f"{base[: _LONGEST - len(str(count)) - 1].strip()}_{count}"
    return name
