"""A dictionary that is kept beside the machine it belongs to, if the builder asks for that."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from models.fault import Fault
from models.machine import Machine
from models.symptom import Dictionary, Entry
from solver.faults.single import single_faults
from solver.faults.symptoms import Watcher, build_dictionary
from solver.files import read_file, write_new
from solver.machine_file import write_machine

Say = Callable[[str], None]
KEPT_VERSION = 2
MAX_KEPT = 100_000_000


def dictionary_of(path: Path, machine: Machine, keep: bool, say: Say) -> Dictionary:
    """Simulated, or read from beside the machine if it was kept there for this very machine."""
    beside = path.with_suffix(".symptoms.json")
    print_ = hashlib.sha256(write_machine(machine).encode()).hexdigest()
    kept = _read_kept(beside, machine, print_)
    if kept:
        return kept
    say("Simulating every single fault; --keep saves the result for next time.")
    dictionary = build_dictionary(machine, say)
    if keep:
        content = _as_numbers(machine, dictionary) | {"machine": print_}
        write_new(beside, json.dumps(content), force=True)
        say(f"wrote {beside}")
    return dictionary


def _as_numbers(machine: Machine, dictionary: Dictionary) -> dict[str, Any]:
    """A dictionary as numbers: faults by their number among all single faults of the machine."""
    number = {fault: i for i, fault in enumerate(single_faults(machine))}
    return {
        "version": KEPT_VERSION,
        "faults": [number[fault] for fault in dictionary.faults],
        "entries": [[e.fault, f"{e.seen:x}"] for e in dictionary.entries],
        "healthy": f"{dictionary.healthy:x}",
    }


def _read_kept(path: Path, machine: Machine, print_: str) -> Dictionary | None:
    """What was kept; None if there is nothing, or it is of another machine or another program."""
    try:
        data = read_file(path, MAX_KEPT)
        if isinstance(data, Fault):
            return None
        kept = json.loads(data)
        if kept["machine"] != print_ or kept["version"] != KEPT_VERSION:
            return None
        every = list(single_faults(machine))
        faults = tuple(every[i] for i in kept["faults"])
        entries = tuple(Entry(int(f), int(s, 16)) for f, s in kept["entries"])
        if not all(0 <= entry.fault < len(faults) for entry in entries):
            return None
        return Dictionary(Watcher(machine).observables, faults, entries, int(kept["healthy"], 16))
    except (ValueError, LookupError, TypeError, RecursionError):
        return None
