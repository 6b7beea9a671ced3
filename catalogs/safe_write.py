"""Files changed whole or not at all: read, changed and put in place under a lock, through a file beside the old one.

Whatever happens on the way (a full disk, a program that is killed), the old file or the new one is there, never a
piece of either. Two programs that change one file after the other both see what the other has written. Where a change
of several files is cut off between two of them, the next one completes it first.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import re
import secrets
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_yaml import decoded

Change = Callable[[str], str]
"""Text of a file to its new text, line ends as they are in the file, without a byte-order mark."""

PATIENCE = 30.0
"""Seconds that a writer waits for another one."""

LOCK_FILE = ".kitwright.lock"
"""File in the folder that is locked where a folder itself cannot be; it may be deleted when nothing is running."""

UNFINISHED = ".kitwright.unfinished"
"""File in a folder that says which files a change is about to put in place; it is there only meanwhile."""

_BESIDE = re.compile(r"\..{1,40}-[0-9a-f]{16}\.new", re.DOTALL)
"""Name of a file that is written beside its place, to be put there."""

_BOM = b"\xef\xbb\xbf"
_TRIES = 3
"""Times that a change is made anew because a program without the lock has saved the file meanwhile."""


@dataclass(frozen=True, slots=True)
class Edited:
    """What a change has done to one file."""

    path: Path
    before: str
    after: str


def edit_file(path: str | os.PathLike[str], change: Change, new: bool = False) -> Edited:
    """Change one text file under its folder's lock; the file is untouched where anything goes wrong.

    Permissions, byte-order mark and line ends stay, a symbolic link is followed. Where the text does not change,
    nothing is written.

    Args:
        path: the file.
        change: makes the new text of the old one; what it raises goes through. It may be called more than once.
        new: a file that is not there counts as an empty one.

    Raises:
        InputError: the file cannot be read or written; it says why, and that nothing was changed.

    """
    return edit_files({Path(path): change}, new)[0]


def edit_files(changes: Mapping[Path, Change], new: bool = False) -> list[Edited]:
    """Change several files together: all that can fail is done before the first is put in its place.

    Where the last step fails for one file, those already in place are put back. A program that is killed between two
    of them leaves some changed and some not, each whole, and a note of it: where the files stand in one folder, the
    next change there completes the cut-off one and says so. Everything else is as in :func:`edit_file`.

    Raises:
        InputError: as :func:`edit_file` does, or a change that was cut off has been completed in place of this one.
        ValueError: two of the paths lead to one file.

    """
    real = {path: Path(os.path.realpath(path)) for path in changes}
    if len(set(real.values())) < len(real):
        raise ValueError("two of the paths lead to one file: make its changes one change")
    with contextlib.ExitStack() as stack:
        for folder in sorted({each.parent for each in real.values()}):
            stack.enter_context(locked(folder))
            _finish(folder)
        for last in (*[False] * (_TRIES - 1), True):
            found = [_Draft.of(path, real[path], change, new) for path, change in changes.items()]
            if not any(each.has_moved() for each in found):
                break
            if last:
                moved = next(each for each in found if each.has_moved())
                raise _refused(moved.path, "another program keeps changing the file", "close it there and try again")
        _put([each for each in found if each.changed])
    return [Edited(each.path, each.before, each.after) for each in found]


def write_whole(path: Path, data: bytes) -> None:
    """Put bytes in a file's place in one step; a link is followed, permissions of a file that is there stay.

    Raises:
        OSError: they cannot be written; what was there is untouched.

    """
    real = Path(os.path.realpath(path))
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(InputError):  # a folder that cannot be locked may let itself be written in
            stack.enter_context(locked(real.parent))
            if not (real.parent / UNFINISHED).exists():
                _clear(real.parent)
        _replace_whole(real, data)


def _replace_whole(real: Path, data: bytes) -> None:
    temporary = _beside(real, data, _state(real))
    try:
        temporary.replace(real)
    except BaseException:
        _forget(temporary)
        raise
    _settle(real.parent)


@contextlib.contextmanager
def locked(folder: Path, patience: float = PATIENCE) -> Iterator[None]:
    """Keep every other writer of a folder's files out; it may not be nested for one folder.

    A lock goes with the program that holds it: none is left behind by one that was killed.

    Raises:
        InputError: another program has held it for ``patience`` seconds, or there is no such folder.

    """
    try:
        handle = _lockable(folder)
    except OSError as error:
        raise _refused(folder, _reason(error), "check the folder and its permissions") from None
    try:
        end = time.monotonic() + patience
        while not _take(handle):
            if time.monotonic() > end:
                message = f"another program has been writing here for {patience:.0f} s"
                raise _refused(folder, message, "wait for it, or end it, and try again")
            time.sleep(0.02)
        yield
    finally:
        os.close(handle)


if os.name == "posix":
    import fcntl

    def _lockable(folder: Path) -> int:
        """Open what is locked: the folder itself, so that nothing is left in it."""
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
            fcntl.flock(handle, fcntl.LOCK_UN)
        except BlockingIOError:
            pass
        except OSError:  # a network file system that locks only files open for writing
            os.close(handle)
            return os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        return handle

    def _take(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

else:  # pragma: no cover
    import msvcrt  # type: ignore[unreachable,unused-ignore]

    def _lockable(folder: Path) -> int:
        return os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o666)

    def _take(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True


@dataclass(slots=True)
class _Draft:
    """One file with its old and its new text."""

    path: Path
    real: Path
    state: os.stat_result | None
    old: bytes
    before: str
    after: str

    @staticmethod
    def of(path: Path, real: Path, change: Change, new: bool) -> _Draft:
        try:
            state = _state(real)
        except (OSError, ValueError) as error:
            raise _refused(path, f"cannot be read: {_reason(error)}", "check the path") from None
        if state is None and not new:
            raise _refused(path, "the file does not exist", "check the path")
        if state is not None and not stat.S_ISREG(state.st_mode):
            raise _refused(path, "is no ordinary file", "check the path")
        if state is not None and not os.access(real, os.W_OK):  # a new file in its place would get round it
            raise _refused(path, "the file is write-protected", "allow writing to it, or change a copy")
        try:
            old = real.read_bytes() if state is not None else b""
        except OSError as error:
            raise _refused(path, f"cannot be read: {_reason(error)}", "check its permissions") from None
        problems: list[Problem] = []
        before = decoded(old, str(path), problems)
        if before is None:
            raise InputError(problems)
        return _Draft(path, real, state, old, before, change(before))

    @property
    def changed(self) -> bool:
        return self.after != self.before

    @property
    def data(self) -> bytes:
        return (_BOM if self.old.startswith(_BOM) else b"") + self.after.encode("utf-8")

    def has_moved(self) -> bool:
        """Whether the file is another one than was read, or says something else: clocks are coarse, and set back."""
        if _mark(self.state) != _mark(_state(self.real)):
            return True
        try:
            return self.state is not None and self.real.read_bytes() != self.old
        except OSError:
            return True


@dataclass(frozen=True, slots=True)
class _Step:
    """One file of a change of several: what was there, what is to be there, and the file beside it that holds it.

    Digests, None for no file; ``new`` is None where the file is to go away.
    """

    file: str
    new: str | None
    old: str | None
    then: str | None

    def is_done(self, folder: Path) -> bool:
        return _digest_of(folder / self.file) == self.then

    def can_be_done(self, folder: Path) -> bool:
        """Whether the file is as it was, and what it is to become is there, whole."""
        ready = self.new is None or _digest_of(folder / self.new) == self.then
        return ready and _digest_of(folder / self.file) == self.old

    def do(self, folder: Path) -> None:
        if self.new is None:
            (folder / self.file).unlink(missing_ok=True)
        else:
            (folder / self.new).replace(folder / self.file)


def _put(drafts: list[_Draft]) -> None:
    """Write every file beside its place, then put them there one after the other.

    From the moment that the note is there, the change is only ever carried on, by whoever comes next: nothing that
    the note names is taken away before the note itself. So it can be cut off anywhere, and what carries it on, too.
    """
    written: list[tuple[_Draft, Path]] = []
    folders = {each.real.parent for each in drafts}
    note = next(iter(folders)) / UNFINISHED if len(drafts) > 1 and len(folders) == 1 else None
    at = drafts[0] if drafts else None
    try:
        for at in drafts:
            written.append((at, _beside(at.real, at.data, at.state)))
        if note is not None:
            _replace_whole(note, _noted(_forwards(written), "completed", drafts))
        for at, temporary in written:
            temporary.replace(at.real)
    except BaseException as error:
        taken_back = _take_back(written, note)
        if at is not None and isinstance(error, OSError):
            if not taken_back:
                raise _refused(at.path, f"cannot be written: {_reason(error)}", *_half(written, note)) from None
            raise _refused(at.path, f"cannot be written: {_reason(error)}", _what_to_do(error)) from None
        raise
    try:
        for folder in folders:
            _settle(folder)
    finally:
        if note is not None:
            _forget(note)


def _forwards(written: list[tuple[_Draft, Path]]) -> list[_Step]:
    return [_Step(each.real.name, new.name, _was(each), _digest(each.data)) for each, new in written]


def _was(draft: _Draft) -> str | None:
    return None if draft.state is None else _digest(draft.old)


def _take_back(written: list[tuple[_Draft, Path]], note: Path | None) -> bool:
    """Have it as it was before a change that failed; where some of it is in place, as a change in its turn.

    Answers whether that worked; where it did not, the note stays, and the change is carried on the next time.
    """
    done = [draft for draft, temporary in written if not temporary.exists()]  # in place, came the call back or not
    rest = [temporary for _, temporary in written if temporary.exists()]
    try:
        steps = []
        for draft in done:
            new = _beside(draft.real, draft.old, draft.state).name if draft.state is not None else None
            steps.append(_Step(draft.real.name, new, _digest(draft.data), _was(draft)))
        if note is not None and done:
            _replace_whole(note, _noted(steps, "taken back", [draft for draft, _ in written]))
        for draft, step in zip(done, steps, strict=True):
            step.do(draft.real.parent)
            _settle(draft.real.parent)
    except OSError:
        return False
    if note is not None:
        _forget(note)
    for each in rest:
        _forget(each)
    return True


def _half(written: list[tuple[_Draft, Path]], note: Path | None) -> tuple[str, str]:
    """What to do about a change that is half done, and what is to be said of it."""
    names = ", ".join(draft.real.name for draft, _ in written)
    way = "look at each of them" if note is None else "mend that, and the next change here completes it"
    return way, f"only a part of {names}"


def _noted(steps: list[_Step], work: str, drafts: list[_Draft]) -> bytes:
    """Text of a note: what is to be done, and what the whole change will then have been."""
    files = ", ".join(draft.real.name for draft in drafts)
    return json.dumps({"files": files, "work": work, "steps": [asdict(each) for each in steps]}).encode()


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _digest_of(path: Path) -> str | None:
    """Digest of a file, None where there is none; what is no file, or cannot be read, has one of its own."""
    try:
        return _digest(path.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as error:
        return f"unreadable: {error.errno}"


def _finish(folder: Path) -> None:
    """Complete a change of several files that was cut off in this folder, and take away what dead programs left.

    Raises:
        InputError: it has been completed, or cannot be: somebody should look before anything else is changed.

    """
    note = folder / UNFINISHED
    try:
        if note.exists() and not note.is_file():  # a pipe or a device may never end
            raise ValueError
        noted = json.loads(note.read_bytes())
        steps = [_step(row) for row in noted["steps"]]
        files, work = str(noted["files"]), str(noted["work"])
    except FileNotFoundError:
        _clear(folder)
        return
    except (OSError, ValueError, TypeError, KeyError):
        hint = "if no other program is writing here, delete it and look at the files beside it"
        raise _refused(note, "cannot be read, and says which change was cut off here", hint) from None
    waiting = [each for each in steps if not each.is_done(folder)]
    lost = [each.file for each in waiting if not each.can_be_done(folder)]
    try:
        for each in waiting:
            if each.file not in lost:
                each.do(folder)
        _settle(folder)
        note.unlink()
    except OSError as error:
        message = f"an earlier change of {files} was cut off, and cannot be {work}: {_reason(error)}"
        raise _refused(folder, message, _what_to_do(error)) from None
    _clear(folder)
    if lost:
        message = (
            f"an earlier change of {files} was cut off, and {', '.join(lost)} has been edited since, so that it was "
            "left out there"
        )
        raise _refused(folder, message, "look at these files, and try again", "nothing else")
    if waiting:
        message = f"an earlier change of {files} had been cut off, and has now been {work}"
        raise _refused(folder, message, "look whether this change is still wanted, and try again", "nothing else")


def _step(row: Any) -> _Step:
    """One row of a note."""
    step = _Step(**row)
    _plain(step.file)
    if step.new is not None and not _BESIDE.fullmatch(_plain(step.new)):
        raise ValueError("no file of a change")
    return step


def _clear(folder: Path) -> None:
    """Take away files that were written beside their place by programs that did not live to put them there.

    Whoever writes such a file holds the folder's lock, and so does this program: no living one needs them.
    """
    with contextlib.suppress(OSError):
        for path in list(folder.iterdir()):
            if _BESIDE.fullmatch(path.name):
                _forget(path)


def _plain(name: object) -> str:
    """Give the name of a file in a folder itself; anything that leads elsewhere is refused."""
    if not isinstance(name, str) or name in ("", ".", "..") or name != Path(name).name:
        raise ValueError("no plain name")
    return name


def _beside(real: Path, data: bytes, state: os.stat_result | None) -> Path:
    """Write bytes to a new hidden file in the same folder, down to the disk; its name."""
    # The name is known before the file is there, so that an interrupt leaves nothing behind.
    name = real.with_name(f".{real.name[:40]}-{secrets.token_hex(8)}.new")
    try:
        handle = os.open(name, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        try:
            rest = memoryview(data)
            while rest:
                rest = rest[os.write(handle, rest) :]
            if state is not None and hasattr(os, "fchown"):
                with contextlib.suppress(OSError):  # another's file: the new one is the writer's
                    os.fchown(handle, state.st_uid, state.st_gid)
            name.chmod(0o666 & ~_umask() if state is None else stat.S_IMODE(state.st_mode))
            os.fsync(handle)
        finally:
            os.close(handle)
    except BaseException:
        _forget(name)
        raise
    return name


def _forget(name: Path) -> None:
    with contextlib.suppress(OSError):
        name.unlink()


def _settle(folder: Path) -> None:
    """Bring a folder's new entry to the disk, where the system lets folders be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _state(real: Path) -> os.stat_result | None:
    try:
        return real.stat()
    except FileNotFoundError:
        return None


def _mark(state: os.stat_result | None) -> tuple[int, int, int] | None:
    return None if state is None else (state.st_ino, state.st_size, state.st_mtime_ns)


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current


def _reason(error: BaseException) -> str:
    return getattr(error, "strerror", None) or str(error)


def _what_to_do(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)):
        return "make room on the disk and try again"
    return "allow writing in its folder, or change a copy"


def _refused(path: Path, message: str, suggestion: str, what: str = "nothing") -> InputError:
    return InputError([Problem(message, f"{what} was changed: {suggestion}", str(path))])
