"""Files changed whole or not at all: whatever fails, the old file is there; no change of another writer is lost."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, safe_write
from kitwright.catalogs.edit import append_part, change_count, set_field
from kitwright.catalogs.safe_write import edit_file, edit_files, locked, write_whole

ROOT = Path(__file__).parent.parent
OLD = "cranks:\n- id: k57   # ours\n  stroke: 57 mm\n  journal: 30 mm\n"
NEW = OLD.replace("57 mm", "58 mm")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "cranks.yaml"
    path.write_text(OLD, encoding="utf-8")
    return path


def change(text: str) -> str:
    return text.replace("57 mm", "58 mm")


def folder(path: Path) -> list[str]:
    return sorted(each.name for each in path.parent.iterdir())


def test_a_change_is_written_and_nothing_else_is_left(file: Path) -> None:
    done = edit_file(file, change)
    assert (done.before, done.after) == (OLD, NEW)
    assert file.read_text(encoding="utf-8") == NEW
    assert folder(file) == ["cranks.yaml"]


def test_no_change_writes_nothing(file: Path) -> None:
    before = file.stat()
    edit_file(file, lambda text: text)
    assert (file.stat().st_ino, file.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


@pytest.mark.parametrize("call", ["write", "fsync", "replace", "close"])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EACCES])
def test_a_failure_at_any_step_leaves_the_old_file(
    file: Path, monkeypatch: pytest.MonkeyPatch, call: str, number: int
) -> None:
    real = getattr(os, call)

    def fails(*arguments: Any, **named: Any) -> Any:
        if call == "close":
            real(*arguments)
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(os, call, fails)
        with pytest.raises((InputError, OSError)) as caught:
            edit_file(file, change)
    if call != "close":  # the lock's own handle is closed by it too
        assert "cannot be written" in str(caught.value) and "nothing was changed" in str(caught.value)
        assert "room on the disk" in str(caught.value) or number != errno.ENOSPC
    assert file.read_text(encoding="utf-8") == OLD
    assert folder(file) == ["cranks.yaml"]


def test_a_disk_that_fills_up_in_the_middle_of_a_write(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = os.write, 0

    def some(handle: int, data: Any) -> int:
        nonlocal calls
        calls += 1
        if calls > 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(handle, bytes(data[:5]))

    monkeypatch.setattr(os, "write", some)
    with pytest.raises(InputError, match="make room"):
        edit_file(file, change)
    assert file.read_text(encoding="utf-8") == OLD and folder(file) == ["cranks.yaml"]


def test_a_write_in_small_pieces_is_whole(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, bytes(data[:3])))
    edit_file(file, change)
    assert file.read_text(encoding="utf-8") == NEW


def test_an_interrupt_leaves_the_old_file(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stops(*_: Any) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stops)
    with pytest.raises(KeyboardInterrupt):
        edit_file(file, change)
    assert file.read_text(encoding="utf-8") == OLD and folder(file) == ["cranks.yaml"]


KILLED = """
import os, signal, sys
from pathlib import Path
from kitwright.catalogs.safe_write import edit_file

name, step = sys.argv[2], 0
real = getattr(os, name)

def counted(*arguments, **named):
    if sys.argv[3] == "after":
        found = real(*arguments, **named)
        os.kill(os.getpid(), signal.SIGKILL)
    os.kill(os.getpid(), signal.SIGKILL)

setattr(os, name, counted)
edit_file(Path(sys.argv[1]), lambda text: text.replace("57 mm", "58 mm"))
"""


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("call", ["write", "fsync", "replace"])
def test_a_program_killed_at_any_step_leaves_one_of_the_two(file: Path, call: str, when: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(file), call, when], env=os.environ, check=False, timeout=60
    )
    assert done.returncode == -signal.SIGKILL
    expected = NEW if (call, when) == ("replace", "after") else OLD
    assert file.read_text(encoding="utf-8") == expected
    edit_file(file, lambda text: text.replace("ours", "yours"))  # no lock was left behind
    assert file.read_text(encoding="utf-8") == expected.replace("ours", "yours")


def test_permissions_and_byte_order_mark_and_line_ends_stay(file: Path) -> None:
    file.write_bytes(b"\xef\xbb\xbf" + OLD.replace("\n", "\r\n").encode())
    file.chmod(0o640)
    set_field(file, "k57", "stroke", "58 mm")
    assert file.read_bytes() == b"\xef\xbb\xbf" + NEW.replace("\n", "\r\n").encode()
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_link_is_followed_and_stays_one(file: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    link = tmp_path / "elsewhere" / "link.yaml"
    link.symlink_to("../cranks.yaml")
    edit_file(link, change)
    assert link.is_symlink() and file.read_text(encoding="utf-8") == NEW
    assert folder(link) == ["link.yaml"]


def test_a_write_protected_file_is_left_alone(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The superuser may write everywhere, so the answer of the system is given here."""
    monkeypatch.setattr(os, "access", lambda path, mode, **_: False)
    with pytest.raises(InputError, match="write-protected; nothing was changed"):
        edit_file(file, change)
    assert file.read_text(encoding="utf-8") == OLD


@pytest.mark.parametrize("name", ["missing.yaml", "."])
def test_what_is_no_file_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"nothing was changed"):
        edit_file(tmp_path / name, change)


def test_a_file_that_is_no_text_is_refused(file: Path) -> None:
    file.write_bytes(b"\xff\xfea\x00")
    with pytest.raises(InputError, match="UTF-16"):
        edit_file(file, change)


def test_a_new_file_is_made_where_that_is_asked(tmp_path: Path) -> None:
    append_part(tmp_path / "new.yaml", "crank", {"id": "k60", "stroke": "60 mm", "journal": "30 mm"}, new=True)
    assert (tmp_path / "new.yaml").read_text("utf-8") == "cranks:\n- id: k60\n  stroke: 60 mm\n  journal: 30 mm\n"


def test_twenty_writers_at_once_all_land(tmp_path: Path) -> None:
    yaml, csv = tmp_path / "cranks.yaml", tmp_path / "rods.csv"
    yaml.write_text(OLD, encoding="utf-8")
    csv.write_text("id,length [mm],big_end [mm],pin [mm],on_shelf\nr85,85,30,16,\n", encoding="utf-8")
    with ThreadPoolExecutor(20) as pool:
        done = [
            pool.submit(change_count, path, part, lambda count: count + 1)
            for path, part in [(yaml, "k57"), (csv, "r85")] * 20
        ]
        for each in done:
            each.result()
    assert yaml.read_text("utf-8") == OLD + "  on_shelf: 20\n"
    assert csv.read_text("utf-8").endswith("r85,85,30,16,20\n")


def test_writers_in_several_programs_all_land(file: Path) -> None:
    code = "import sys; from kitwright.catalogs.edit import change_count\n" + (
        "for _ in range(5): change_count(sys.argv[1], 'k57', lambda count: count + 1)"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, str(file)]) for _ in range(4)]
    assert [each.wait(timeout=120) for each in running] == [0] * 4
    assert "on_shelf: 20" in file.read_text("utf-8")


def test_a_writer_that_waits_too_long_says_so(file: Path) -> None:
    with (
        locked(file.parent),
        pytest.raises(InputError, match="another program has been writing"),
        locked(file.parent, patience=0.1),
    ):
        raise AssertionError("two at once")


def test_the_lock_is_free_again_after_a_failure(file: Path) -> None:
    def fails(_: str) -> str:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        edit_file(file, fails)
    edit_file(file, change)
    assert file.read_text("utf-8") == NEW


def test_where_a_folder_cannot_be_locked_a_file_in_it_is(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    real = fcntl.flock

    def fails(handle: int, how: int) -> None:
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        real(handle, how)

    monkeypatch.setattr(fcntl, "flock", fails)
    counts = [threading.Thread(target=change_count, args=(file, "k57", lambda count: count + 1)) for _ in range(5)]
    for each in counts:
        each.start()
    for each in counts:
        each.join()
    assert "on_shelf: 5" in file.read_text("utf-8")
    assert folder(file) == [safe_write.LOCK_FILE, "cranks.yaml"]


def test_a_file_saved_by_an_editor_meanwhile_is_read_anew(file: Path) -> None:
    calls = 0

    def slow(text: str) -> str:
        nonlocal calls
        calls += 1
        if calls == 1:
            file.write_text(OLD + "# saved meanwhile\n", encoding="utf-8")
        return change(text)

    edit_file(file, slow)
    assert file.read_text("utf-8") == NEW + "# saved meanwhile\n" and calls == 2


def test_a_file_that_never_rests_is_refused(file: Path) -> None:
    def restless(text: str) -> str:
        file.write_text(text + "# again\n", encoding="utf-8")
        return change(text)

    with pytest.raises(InputError, match="keeps changing"):
        edit_file(file, restless)
    assert "57 mm" in file.read_text("utf-8")


def test_several_files_change_together_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [tmp_path / name for name in ("a.yaml", "b.yaml", "c.yaml")]
    for path in paths:
        path.write_text(OLD, encoding="utf-8")
    edit_files(dict.fromkeys(paths, change))
    assert {path.read_text("utf-8") for path in paths} == {NEW}
    real = os.replace

    def fails(source: Any, target: Any, **named: Any) -> None:
        if Path(target).name == "c.yaml":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(source, target, **named)

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(InputError, match=r"c\.yaml.*nothing was changed"):
        edit_files(dict.fromkeys(paths, lambda text: text.replace("58 mm", "59 mm")))
    assert {path.read_text("utf-8") for path in paths} == {NEW}
    assert folder(paths[0]) == ["a.yaml", "b.yaml", "c.yaml"]


def test_two_ways_to_one_file_are_refused(file: Path) -> None:
    link = file.with_name("link.yaml")
    link.symlink_to(file)
    with pytest.raises(ValueError, match="one file"):
        edit_files({file: change, link: change})
    assert file.read_text("utf-8") == OLD


def test_bytes_are_put_in_place_whole(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_whole(file, b"new")
    assert file.read_bytes() == b"new"

    def fails(*_: Any, **__: Any) -> None:
        raise OSError(errno.EIO, "broken")

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(OSError, match="broken"):
        write_whole(file, b"newer")
    assert file.read_bytes() == b"new" and folder(file) == ["cranks.yaml"]
