"""A case handed to a worker of a cluster, as plain values.

A scheduler takes apart what passes through it and so imports what that is made of. Nothing but
this module may be needed for that: `dask` is a script, Python looks for modules beside scripts
first, and python-sat installs a script `models.py` there.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from models.sweep import Row


def solve_plain(name: str, text: str, path: str, budget_s: float, seed: int) -> Row:
    """Solve the case of these values."""
    _find_our_models()
    from models.sweep import Job
    from solver.sweep.work import solve_job

    return solve_job(Job(name, text, path, budget_s, seed))


def _find_our_models() -> None:
    """Let `models` be our package again, if a script of that name came first."""
    known = sys.modules.get("models")
    if known is None or not hasattr(known, "__path__"):
        sys.modules.pop("models", None)
        sys.path[:] = [p for p in sys.path if not Path(p, "models.py").is_file()]
