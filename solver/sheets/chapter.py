"""What a plan tells beside its machine: a part of its own in the page and in the text."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Chapter:
    """One more part of a plan, after all others."""

    name: str
    """Its anchor in the page."""
    title: str
    lines: tuple[str, ...]
    """The text, drawings included."""
    html: str
    """What stands below its heading in the page; whole without the script."""
    look: str = ""
    script: str = ""
