"""`solve` stopped at random moments: by Ctrl-C, or killed in the middle of it.

python -m tests.campaign_interrupts [--seed 1] [--count 40] [--early] [--log FILE]

The moments are spread over the whole run or, with `--early`, over the half second in which Python
and the program are loaded. What comes before the first line of the program is Python's own: there
a traceback that names none of its files is only counted.

Stopped, it must end by status 130 without a traceback, leave no half-written file, and leave the
machine if it had told of one. Killed, each file is the old one or the new one, whole.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from functools import partial
from pathlib import Path
from random import Random

from models.fault import InputError
from solver.files import OUTPUT_NAMES
from solver.machine_file import read_machine
from tests.campaign_runner import one_by_one, parser, run

ROOT = Path(__file__).parent.parent
SCENARIO = ROOT / "scenarios" / "first-ring.toml"
# As the installed command does, that `re` included.
CALL = (
    sys.executable,
    "-c",
    "import re; from solver.start import main; main()",
    "solve",
    str(SCENARIO),
)
EARLY_S = 0.5
LAST_BYTES = {"plan.html": "</html>\n", "machine.json": "}\n"}


def solve(
    folder: Path, stop_after_s: float | None, how: signal.Signals, early: bool = False
) -> tuple[int, str, str]:
    """Run `solve` into a folder and stop it; status, stdout and stderr.

    The time counts from its first word, or from the very start if it is to be `early`.
    """
    with subprocess.Popen(
        [*CALL, "--out", str(folder), "--force"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # A shell may have set Ctrl-C to be ignored, and that is inherited.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    ) as process:
        assert process.stderr is not None
        first = "" if early else process.stderr.readline()
        if stop_after_s is not None:
            time.sleep(stop_after_s)
            process.send_signal(how)
        out, err = process.communicate(timeout=300)
        return process.returncode, out, first + err


def spoiled(folder: Path, old: dict[str, str]) -> list[str]:
    """Files that are neither an old one nor a whole new one."""
    wrong = []
    for name in OUTPUT_NAMES:
        path = folder / name
        if not path.exists():
            continue
        text = path.read_text(encoding="utf-8")
        if text != old.get(name) and not text.endswith(LAST_BYTES.get(name, "\n")):
            wrong.append(f"{name} is cut short")
    try:
        if (folder / "machine.json").exists():
            read_machine(folder / "machine.json")
    except InputError as error:
        wrong.append(str(error))
    return wrong


def judge(name: str, seen: Counter[str], longest_s: float, early: bool) -> list[str]:
    """One run, stopped at a moment that the name decides."""
    rng = Random(name)
    how = rng.choice((signal.SIGINT, *(() if early else (signal.SIGINT, signal.SIGKILL))))
    with tempfile.TemporaryDirectory() as place:
        folder, old = Path(place), {}
        if rng.random() < 0.5:
            old = {file: f"an old {file}" for file in OUTPUT_NAMES if file != "machine.json"}
            for file, text in old.items():
                (folder / file).write_text(text)
        status, out, err = solve(folder, rng.uniform(0, longest_s), how, early)
        wrong = spoiled(folder, old)
        seen[f"{how.name}: status {status}"] += 1
        if how is signal.SIGKILL:
            return wrong
        if early and status not in (0, 130) and "solver" not in err.replace(CALL[2], ""):
            seen["before the program began"] += 1
            return wrong
        # Python is killed by the signal itself if it comes as it ends: for a shell that is 130 too.
        if "Traceback" in err or status not in (0, 130, -signal.SIGINT):
            wrong.append(f"status {status}: {err[-300:]}")
        if any(path.name.endswith(".part") for path in folder.iterdir()):
            wrong.append("a half-written file is left")
        has_machine = (folder / "machine.json").exists()
        seen["stopped, with a machine"] += status == 130 and has_machine
        if "machine: " in out and not has_machine:
            wrong.append("it told of a machine that is not there")
        return wrong


def main() -> int:
    made = parser(__doc__, count=40)
    made.add_argument("--early", action="store_true")
    options = made.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        start = time.monotonic()
        status, _, err = solve(Path(folder), None, signal.SIGINT)
        assert status == 0, err
        longest_s = EARLY_S if options.early else time.monotonic() - start
    judged = partial(one_by_one, partial(judge, longest_s=longest_s, early=options.early))
    return run(judged, options, what=f"runs stopped within {longest_s:.1f} s")


if __name__ == "__main__":
    sys.exit(main())
