"""Files are written whole or not at all, and never over others unasked."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from models.fault import InputError
from solver import files
from solver.files import check_out_dir, write_new


def names(directory):
    return sorted(p.name for p in directory.iterdir())


def test_writes_text_and_bytes_and_makes_directories(tmp_path):
    write_new(tmp_path / "a" / "b" / "x.txt", "gr\u00fcn\n", force=False)
    write_new(tmp_path / "y.bin", b"\0\1", force=False)
    assert (tmp_path / "a" / "b" / "x.txt").read_bytes() == "gr\u00fcn\n".encode()
    assert (tmp_path / "y.bin").read_bytes() == b"\0\1"
    assert names(tmp_path) == ["a", "y.bin"]


def test_the_usual_rights_of_a_new_file(tmp_path):
    old = os.umask(0o027)
    try:
        write_new(tmp_path / "x", "", force=False)
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "x").stat().st_mode) == 0o640


@pytest.mark.parametrize("force", [False, True])
def test_an_existing_file_is_only_replaced_by_force(tmp_path, force):
    path = tmp_path / "x"
    path.write_text("old")
    if force:
        write_new(path, "new", force=True)
        assert path.read_text() == "new"
    else:
        with pytest.raises(InputError, match=r"exists already.*--force"):
            write_new(path, "new", force=False)
        assert path.read_text() == "old"
    assert names(tmp_path) == ["x"]


def test_a_dangling_link_is_a_file_too(tmp_path):
    (tmp_path / "x").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError):
        write_new(tmp_path / "x", "new", force=False)
    write_new(tmp_path / "x", "new", force=True)
    assert not (tmp_path / "x").is_symlink()
    assert names(tmp_path) == ["x"]


def test_a_directory_is_never_replaced(tmp_path):
    (tmp_path / "x").mkdir()
    for force in (False, True):
        with pytest.raises(InputError, match="directory"):
            write_new(tmp_path / "x", "new", force)
    assert names(tmp_path) == ["x"]


def test_a_file_that_appears_while_we_write_is_kept(tmp_path, monkeypatch):
    path = tmp_path / "x"
    real = files._write_synced

    def slow(part, content):
        real(part, content)
        path.write_text("another's")

    monkeypatch.setattr(files, "_write_synced", slow)
    with pytest.raises(InputError, match="exists already"):
        write_new(path, "mine", force=False)
    assert path.read_text() == "another's"
    assert names(tmp_path) == ["x"]


def test_of_many_writers_one_wins(tmp_path):
    path = tmp_path / "x"
    won = []

    def write(text):
        try:
            write_new(path, text * 1000, force=False)
            won.append(text)
        except InputError:
            pass

    threads = [threading.Thread(target=write, args=(str(i),)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
    assert path.read_text() == won[0] * 1000
    assert names(tmp_path) == ["x"]


def test_without_hard_links(tmp_path, monkeypatch):
    def refuse(self, target):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("pathlib.Path.hardlink_to", refuse)
    write_new(tmp_path / "x", "new", force=False)
    with pytest.raises(InputError):
        write_new(tmp_path / "x", "newer", force=False)
    assert (tmp_path / "x").read_text() == "new"
    assert names(tmp_path) == ["x"]


def test_a_failing_write_leaves_nothing_behind(tmp_path, monkeypatch):
    (tmp_path / "x").write_text("old")

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_new(tmp_path / "x", "new", force=True)
    assert (tmp_path / "x").read_text() == "old"
    assert names(tmp_path) == ["x"]


# --- looking before the work


def test_a_good_directory_has_no_faults_and_stays_as_it_was(tmp_path):
    assert check_out_dir(tmp_path, ["x"], force=False) == []
    assert check_out_dir(tmp_path / "new" / "deep", ["x"], force=False) == []
    assert names(tmp_path) == []


def test_existing_files_are_all_named(tmp_path):
    for name in ("x", "y", "z"):
        (tmp_path / name).write_text("")
    found = check_out_dir(tmp_path, ["x", "y", "other"], force=False)
    assert [f.file for f in found] == [str(tmp_path / "x"), str(tmp_path / "y")]
    assert check_out_dir(tmp_path, ["x", "y", "other"], force=True) == []


def test_places_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("")
    places = [
        (tmp_path / "file", "not a directory"),
        (tmp_path / "file" / "below", "not a directory"),
        (tmp_path / ("n" * 300), "longer than"),
        (tmp_path / "a\0b", "null byte"),
    ]
    for place, words in places:
        (fault,) = check_out_dir(place, ["machine.json"], force=True)
        assert words in fault.what
        assert fault.remedy


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_directory_without_the_right_to_write(tmp_path):
    tmp_path.chmod(0o500)
    try:
        (fault,) = check_out_dir(tmp_path / "new", ["x"], force=False)
        assert "Permission denied" in fault.what
        with pytest.raises(InputError, match="Permission denied"):
            write_new(tmp_path / "x", "", force=False)
    finally:
        tmp_path.chmod(0o700)


def test_a_system_directory_that_takes_no_files():
    """/proc refuses new files even to root."""
    if not Path("/proc/self").is_dir():
        pytest.skip("no /proc here")
    (fault,) = check_out_dir(Path("/proc/self/fd"), ["x"], force=False)
    assert "cannot be written" in fault.what
