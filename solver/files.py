"""Files: read up to a limit, written whole or not at all, never over another file unasked."""

from __future__ import annotations

import os
import secrets
import stat
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from models.fault import Fault, InputError

OUTPUT_NAMES: tuple[str, ...] = ("machine.json", "plan.html", "plan.txt", "waves.vcd")
"""What `solve` may write into its directory."""
_FORCE = "Use --force to overwrite it, or name another place."


def _refuse(path: Path, what: str, remedy: str) -> Fault:
    return Fault(str(path), 0, 0, what, "", remedy)


def _why(error: OSError | ValueError) -> str:
    return getattr(error, "strerror", None) or str(error)


def read_file(path: Path, limit: int) -> bytes | Fault:
    """What a file holds, or the fault that keeps it from being read.

    Pipes and devices are refused: they may keep us waiting for ever, or never end.
    """
    file = str(path)
    try:
        # Without O_NONBLOCK a pipe that nobody writes to would block the opening itself.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(descriptor, "rb") as stream:
            about = os.fstat(descriptor)
            if not stat.S_ISREG(about.st_mode):
                what = "this is not a regular file, but a pipe or a device"
                return Fault(file, 0, 0, what, "", "Save it to a file and name that.")
            data = stream.read(limit + 1) if about.st_size <= limit else b""
    except FileNotFoundError:
        return Fault(file, 0, 0, "there is no such file", "", "Check the name.")
    except IsADirectoryError:
        return Fault(file, 0, 0, "this is a directory", "", "Name a file.")
    except (OSError, ValueError) as error:
        what = f"the file cannot be read: {_why(error)}"
        return Fault(file, 0, 0, what, "", "Check the file.")
    if len(data) > limit or about.st_size > limit:
        what = f"the file is larger than {limit} bytes"
        return Fault(file, 0, 0, what, "", "Check that this is the file you mean.")
    return data


def check_out_dir(out_dir: Path, names: Iterable[str], force: bool) -> list[Fault]:
    """What would keep files of these names from being written. Leaves nothing behind."""
    base = out_dir
    if "\0" in str(out_dir):
        return [_refuse(out_dir, "a name with a null byte in it", "Use another name.")]
    try:
        while not os.path.lexists(base):
            base = base.parent
        if not base.is_dir():
            what = "this is not a directory, so nothing can be written below it"
            return [_refuse(base, what, "Name a directory.")]
        with tempfile.TemporaryFile(dir=base):
            pass
        if base != out_dir:
            return _too_long(out_dir, base, names)
        return [f for name in names for f in check_target(out_dir / name, force)]
    except (OSError, ValueError) as error:
        what = f"files cannot be written here: {_why(error)}"
        return [_refuse(base, what, "Name a directory that you may write to.")]


def _too_long(out_dir: Path, base: Path, names: Iterable[str]) -> list[Fault]:
    """Names longer than the file system takes."""
    limit = os.pathconf(base, "PC_NAME_MAX") if hasattr(os, "pathconf") else 255
    parts = (*out_dir.relative_to(base).parts, *names)
    return [
        _refuse(out_dir, f"a name is longer than {limit} bytes", "Use a shorter name.")
        for part in parts
        if len(os.fsencode(part)) > limit
    ]


def check_target(path: Path, force: bool) -> list[Fault]:
    """What would keep the file `path` from being written, as far as it exists already."""
    if not os.path.lexists(path):
        return []
    if path.is_dir() and not path.is_symlink():
        return [_refuse(path, "this is a directory", "Move it away or name another place.")]
    return [] if force else [_refuse(path, "the file exists already", _FORCE)]


def write_new(path: Path, data: bytes | str, force: bool) -> None:
    """Write a file in one step. Raises InputError rather than touch an existing file unforced.

    Whatever happens, `path` holds either what it held before or all of `data`.
    """
    content = data.encode("utf-8") if isinstance(data, str) else data
    if faults := check_target(path, force):
        raise InputError(faults)
    part = path.parent / f".{path.name[:80]}.{secrets.token_hex(6)}.part"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            _write_synced(part, content)
            if force:
                part.replace(path)
            else:
                _link_new(part, path, content)
        finally:
            part.unlink(missing_ok=True)
        _sync_directory(path.parent)
    except FileExistsError as error:
        raise InputError([_refuse(path, "the file exists already", _FORCE)]) from error
    except (OSError, ValueError) as error:
        what = f"the file cannot be written: {_why(error)}"
        raise InputError([_refuse(path, what, "Name a place that you may write to.")]) from error


def _write_synced(path: Path, content: bytes) -> None:
    """Make a new file that is on the disk when this returns."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _link_new(part: Path, path: Path, content: bytes) -> None:
    """Give the finished file its name, unless that is taken (then FileExistsError)."""
    try:
        path.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        _write_synced(path, content)


def _sync_directory(directory: Path) -> None:
    """Put the new name on the disk too, where the system allows it."""
    with suppress(OSError):
        descriptor = os.open(directory, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
