"""What a search is doing, on stderr: one line that rewrites itself, or plain lines. No colour."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol, TextIO

HEARTBEAT_S = 15.0
"""Plain lines: how long to be silent at most while something changes."""
LEAST_STAGE = 12
"""Characters that the stage keeps on a narrow terminal."""


class Snapshot(NamedTuple):
    """Where a search stands."""

    best: Mapping[str, int]
    bound: Mapping[str, int]
    left_s: float
    """Until the budget is used up."""
    scope: str = ""
    """What the bound speaks of, if not of all machines."""


class Reporter(Protocol):
    """What takes the news of a search."""

    def say(self, line: str) -> None:
        """Something happened."""

    def tick(self, now: Snapshot) -> None:
        """Time went by."""

    def close(self) -> None:
        """It is over."""


def reporter(
    stream: TextIO, quiet: bool, environment: Mapping[str, str], width: Callable[[], int]
) -> Reporter:
    """The one that suits a stream; the line that rewrites itself is for terminals alone."""
    if quiet:
        return Silent()
    if stream.isatty() and environment.get("TERM") != "dumb":
        return StatusLine(stream, width)
    return PlainLines(stream)


class Silent:
    """Says nothing."""

    def say(self, line: str) -> None:
        """Nothing."""

    def tick(self, now: Snapshot) -> None:
        """Nothing."""

    def close(self) -> None:
        """Nothing."""


@dataclass
class PlainLines:
    """A line for everything that happens, and now and then where things stand."""

    stream: TextIO
    clock: Callable[[], float] = time.monotonic
    _told: str = ""
    _due: float | None = None

    def say(self, line: str) -> None:
        """Print it."""
        self._write(line)

    def tick(self, now: Snapshot) -> None:
        """Print the state if it is due and has changed."""
        time_now, text = self.clock(), "; ".join(standing(now))
        if self._due is None:
            self._due = time_now + HEARTBEAT_S
        if time_now >= self._due and text != self._told:
            self._write(f"{text}; {left(now)}" if text else left(now))
            self._told, self._due = text, time_now + HEARTBEAT_S

    def close(self) -> None:
        """Nothing is left to do."""

    def _write(self, line: str) -> None:
        with suppress(OSError, ValueError):
            self.stream.write(f"{line}\n")
            self.stream.flush()


@dataclass
class StatusLine:
    """One line, written again and again over itself; only carriage returns and blanks."""

    stream: TextIO
    width: Callable[[], int]
    stage: str = "searching"
    _shown: str = field(default="", init=False)
    _length: int = field(default=0, init=False)

    def say(self, line: str) -> None:
        """Remember it; any thread may call this, only `tick` writes."""
        self.stage = " ".join(line.split()).encode("ascii", "replace").decode("ascii")

    def tick(self, now: Snapshot) -> None:
        """Rewrite the line if it reads otherwise than before."""
        text = status_text(self.stage, now, max(1, self.width() - 1))
        if text != self._shown:
            self._write("\r" + text + " " * (self._length - len(text)))
            self._shown, self._length = text, len(text)

    def close(self) -> None:
        """Leave an empty line behind."""
        if self._length:
            self._write("\r" + " " * self._length + "\r")
            self._shown, self._length = "", 0

    def _write(self, text: str) -> None:
        with suppress(OSError, ValueError):
            self.stream.write(text)
            self.stream.flush()


def standing(now: Snapshot) -> list[str]:
    """Best and bound in words."""
    named = (("best", now.best, ""), ("at least", now.bound, now.scope))
    return [
        f"{name} " + ", ".join(f"{key} {value}" for key, value in score.items()) + scope
        for name, score, scope in named
        if score
    ]


def left(now: Snapshot) -> str:
    """Time left in words."""
    if now.left_s <= 0:
        return "time is up, finishing"
    return f"{now.left_s:.0f} s left"


def status_text(stage: str, now: Snapshot, width: int) -> str:
    """Stage, best, bound and time left within a width; the stage gives way first."""
    rest = [*standing(now), left(now)]
    while len(rest) > 1 and len(" | ".join(rest)) + 3 + LEAST_STAGE > width:
        del rest[-2]
    tail = " | ".join(rest)
    room = width - len(tail) - 3
    if room < 1:
        return tail[:width]
    short = stage if len(stage) <= room else stage[: max(0, room - 2)] + ".."
    return f"{short} | {tail}"[:width]
