"""Where keys and values stand in a TOML text.

`tomllib` gives values without places. This scanner walks the same text a second time and
notes the places only. It takes text that `tomllib` has accepted; on other text its answer
means nothing.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import NamedTuple

KeyPath = tuple[str | int, ...]
"""Keys and array positions from the root, such as ("loop", "around", 0)."""

_BLANK = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2}(?!"))', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'''(?:'{0,2}(?!'))", re.DOTALL)
_SCALAR = re.compile(r"[^,\]}#\n]+")


class Location(NamedTuple):
    """Where an item's key (or its element in an array) and its value begin; from 1."""

    line: int
    column: int
    value_line: int
    value_column: int
    body: tuple[int, int] | None = None
    """Where the first line of a long string without escapes begins."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.starts = [0] + [m.end() for m in re.finditer("\n", text)]
        self.found: dict[KeyPath, Location] = {}
        self.array_lengths: dict[KeyPath, int] = {}

    def place(self, at: int) -> tuple[int, int]:
        line = bisect_right(self.starts, at)
        return line, at - self.starts[line - 1] + 1

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError(f"cannot place TOML at offset {self.at}")
        self.at = match.end()
        return match.group()

    def looking_at(self, token: str) -> bool:
        return self.text.startswith(token, self.at)

    def document(self) -> None:
        base: KeyPath = ()
        self.skip(_GAP)
        while self.at < len(self.text):
            if self.looking_at("["):
                base = self.header()
            else:
                self.pair(base)
            self.skip(_GAP)

    def header(self) -> KeyPath:
        """`[a.b]` or `[[a.b]]`; returns the path of the table that it opens."""
        start = self.at
        is_array = self.looking_at("[[")
        self.at += 2 if is_array else 1
        path = self.through_arrays(self.key())
        self.at += 2 if is_array else 1
        if is_array:
            count = self.array_lengths.get(path, 0)
            self.array_lengths[path] = count + 1
            path = (*path, count)
        for length in range(1, len(path) + 1):
            self.note(path[:length], start, start)
        return path

    def through_arrays(self, keys: tuple[str, ...]) -> KeyPath:
        """The path of a header; a name of an array of tables means its last table."""
        path: KeyPath = ()
        for i, key in enumerate(keys):
            path = (*path, key)
            if i < len(keys) - 1 and path in self.array_lengths:
                path = (*path, self.array_lengths[path] - 1)
        return path

    def key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self.skip(_BLANK)
            if self.looking_at('"'):
                parts.append(str(tomllib.loads("k = " + self.skip(_BASIC))["k"]))
            elif self.looking_at("'"):
                parts.append(self.skip(_LITERAL)[1:-1])
            else:
                parts.append(self.skip(_BARE))
            self.skip(_BLANK)
            if not self.looking_at("."):
                return tuple(parts)
            self.at += 1

    def pair(self, base: KeyPath) -> None:
        start = self.at
        path = (*base, *self.key())
        self.at += 1  # the equals sign
        self.skip(_BLANK)
        for length in range(len(base) + 1, len(path) + 1):
            self.note(path[:length], start, self.at)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        if self.looking_at('"""') or self.looking_at("'''"):
            self.long_string(path)
        elif self.looking_at('"'):
            self.skip(_BASIC)
        elif self.looking_at("'"):
            self.skip(_LITERAL)
        elif self.looking_at("["):
            self.array(path)
        elif self.looking_at("{"):
            self.inline_table(path)
        else:
            self.skip(_SCALAR)

    def long_string(self, path: KeyPath) -> None:
        start = self.at
        is_basic = self.looking_at('"""')
        raw = self.skip(_LONG_BASIC if is_basic else _LONG_LITERAL)
        if is_basic and "\\" in raw:
            return
        body = start + (4 if raw[3:4] == "\n" else 3)
        self.found[path] = self.found[path]._replace(body=self.place(body))

    def array(self, path: KeyPath) -> None:
        self.at += 1
        count = 0
        while True:
            self.skip(_GAP)
            if self.looking_at("]"):
                break
            self.note((*path, count), self.at, self.at)
            self.value((*path, count))
            count += 1
            self.skip(_GAP)
            if self.looking_at(","):
                self.at += 1
        self.at += 1

    def inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while True:
            self.skip(_GAP)
            if self.looking_at("}"):
                break
            self.pair(path)
            self.skip(_GAP)
            if self.looking_at(","):
                self.at += 1
        self.at += 1

    def note(self, path: KeyPath, key_at: int, value_at: int) -> None:
        self.found.setdefault(path, Location(*self.place(key_at), *self.place(value_at)))


def locate(text: str) -> dict[KeyPath, Location]:
    """The place of every table, key and array element of a valid TOML text."""
    scanner = _Scanner(text)
    scanner.document()
    return scanner.found
