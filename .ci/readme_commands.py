"""Print the commands of the README's console blocks that carry a given mark.

A block is marked by a line `<!-- ci: NAME -->` just above it; commands begin with `$ `.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

BLOCK = r"^<!-- ci: {} -->\n```console\n(.*?)^```$"


def commands(readme: str, mark: str) -> list[str]:
    """The commands of all blocks marked `mark`, in order."""
    blocks = re.findall(BLOCK.format(re.escape(mark)), readme, re.MULTILINE | re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [line[2:] for line in lines if line.startswith("$ ")]


if __name__ == "__main__":
    found = commands(Path(sys.argv[2]).read_text(encoding="utf-8"), sys.argv[1])
    if not found:
        sys.exit(f"no console block is marked `ci: {sys.argv[1]}` in {sys.argv[2]}")
    sys.stdout.write("\n".join(found) + "\n")
