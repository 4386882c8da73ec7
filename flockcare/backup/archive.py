"""The file of a backup: a zip with a manifest that has the size and SHA-256 of every member.

Knows nothing of what the members mean.
"""

import contextlib
import hashlib
import itertools
import json
import os
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from flockcare.core.storage import sync_folder

KIND = "flockcare backup"
FORMAT = 1
MANIFEST = "manifest.json"
PART = ".part"
# A file under the temporary name that nobody has written to for so long was left by a process
# that was killed.
STALE_SECONDS = 600
_CHUNK = 1024 * 1024
_LARGEST_MANIFEST = 512 * 1024 * 1024


class BackupProblem(Exception):
    """Why there is no backup, or why this one is not taken; a sentence for whoever runs it."""


# --- Writing


class Writer:
    """Adds members to a backup that is being written; `members` has what is in it so far."""

    def __init__(self, archive: zipfile.ZipFile):
        self._archive = archive
        self.members: dict[str, dict] = {}

    @contextlib.contextmanager
    def adding(self, name: str, *, pressed: bool) -> Iterator["_Hashing"]:
        """A file to write the member into; `pressed`: worth compressing."""
        info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
        info.compress_type = zipfile.ZIP_DEFLATED if pressed else zipfile.ZIP_STORED
        info.external_attr = 0o600 << 16
        with self._archive.open(info, "w", force_zip64=True) as stream:
            hashing = _Hashing(stream)
            yield hashing
        self.members[name] = {"bytes": hashing.length, "sha256": hashing.digest.hexdigest()}

    def add(self, name: str, source: BinaryIO) -> None:
        with self.adding(name, pressed=False) as out:
            while chunk := source.read(_CHUNK):
                out.write(chunk)

    def finish(self, about: dict, members: list[str]) -> None:
        """Write the manifest. Members that are not named there count for nothing."""
        manifest = {
            "kind": KIND,
            "format": FORMAT,
            **about,
            "members": {name: self.members[name] for name in members},
        }
        info = zipfile.ZipInfo(MANIFEST, (1980, 1, 1, 0, 0, 0))
        info.external_attr = 0o600 << 16
        self._archive.writestr(info, json.dumps(manifest, indent=1), zipfile.ZIP_DEFLATED)


class _Hashing:
    """Hands on what is written, and keeps its length and SHA-256."""

    def __init__(self, stream: BinaryIO):
        self._stream, self.length, self.digest = stream, 0, hashlib.sha256()

    def write(self, data: bytes) -> None:
        self._stream.write(data)
        self.digest.update(data)
        self.length += len(data)


def free_name(path: Path) -> Path:
    """`path`, or where that is taken the first free of `path-2`, `path-3` …"""
    names = (path.with_stem(f"{path.stem}-{number}") for number in itertools.count(2))
    return next(one for one in itertools.chain([path], names) if not one.exists())


@contextlib.contextmanager
def writing(path: Path) -> Iterator[Writer]:
    """A new backup. It has its name only when all of it is on the disk; else nothing is left."""
    if path.exists():
        raise BackupProblem(f"{path} is there already. Choose another name.")
    part = path.with_name(path.name + PART)
    try:
        stream = _open_new(part)
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        with stream:
            with zipfile.ZipFile(stream, "w", allowZip64=True) as archive:
                yield Writer(archive)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
        sync_folder(path.parent)
    except BaseException as error:
        part.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _cannot_write(path, error) from error
        raise


def _open_new(part: Path) -> BinaryIO:
    """Only one process at a time writes a backup of this name, and only we can read it."""
    with contextlib.suppress(FileNotFoundError):
        if time.time() - part.stat().st_mtime < STALE_SECONDS:
            raise BackupProblem(
                f"{part.name} is being written by another process. Try again later."
            )
        part.unlink()
    try:
        descriptor = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise BackupProblem(
            f"{part.name} is being written by another process. Try again later."
        ) from None
    return os.fdopen(descriptor, "w+b")


def _cannot_write(path: Path, error: OSError) -> BackupProblem:
    return BackupProblem(
        f"The backup {path.name} could not be written ({error.strerror or error}). "
        "Earlier backups are untouched."
    )


# --- Reading


class Reader:
    """A backup in which everything has been checked. `about`: what its manifest says."""

    def __init__(self, archive: zipfile.ZipFile, about: dict):
        self._archive, self.about = archive, about

    @property
    def members(self) -> list[str]:
        return list(self.about["members"])

    def sha256(self, name: str) -> str:
        return self.about["members"][name]["sha256"]

    def open(self, name: str) -> BinaryIO:
        return self._archive.open(name)


@contextlib.contextmanager
def reading(path: Path) -> Iterator[Reader]:
    """The backup in this file, after all of it has been read once.

    Raises BackupProblem for a file that is no backup, is damaged or cut off, or is of a newer
    form than this code knows.
    """
    with contextlib.ExitStack() as stack:
        try:
            stream = stack.enter_context(path.open("rb"))
        except OSError as error:
            raise BackupProblem(f"{path} cannot be opened ({error.strerror}).") from error
        try:
            archive = stack.enter_context(zipfile.ZipFile(stream))
        except Exception as error:  # a broken zip raises nearly anything
            raise _no_backup(path, stream) from error
        about = _manifest(path, archive)
        for name, wanted in about["members"].items():
            _check_member(path, archive, name, wanted)
        yield Reader(archive, about)


def check(path: Path) -> dict:
    """What the manifest of this backup says, after all of the file has been read."""
    with reading(path) as backup:
        return backup.about


def _no_backup(path: Path, stream: BinaryIO) -> BackupProblem:
    """A zip has its list at the end: one that begins as a zip but has none was cut off."""
    stream.seek(0)
    if stream.read(4) == b"PK\3\4":
        return _damaged(path, "it is cut off or its list of contents is broken")
    return _foreign(path)


def _foreign(path: Path) -> BackupProblem:
    return BackupProblem(f"{path} is not a backup of Flockcare.")


def _damaged(path: Path, how: str) -> BackupProblem:
    return BackupProblem(
        f"{path} is damaged: {how}. Nothing was changed. Use another copy or an earlier backup."
    )


def _manifest(path: Path, archive: zipfile.ZipFile) -> dict:
    try:
        info = archive.getinfo(MANIFEST)
    except KeyError:
        raise _foreign(path) from None
    try:
        if info.file_size > _LARGEST_MANIFEST:
            raise ValueError("too large")
        about = json.loads(archive.read(info))
    except Exception as error:
        raise _damaged(path, "its list of checksums cannot be read") from error
    if not isinstance(about, dict) or about.get("kind") != KIND:
        raise _foreign(path)
    if not isinstance(about.get("format"), int) or about["format"] > FORMAT:
        raise BackupProblem(
            f"{path} was made by a newer version of Flockcare. Update this installation first. "
            "Nothing was changed."
        )
    return about


def _check_member(path: Path, archive: zipfile.ZipFile, name: str, wanted: dict) -> None:
    digest, length = hashlib.sha256(), 0
    try:
        with archive.open(name) as stream:
            # Reading no further than was promised: what unpacks to more is not ours.
            while length <= wanted["bytes"] and (chunk := stream.read(_CHUNK)):
                digest.update(chunk)
                length += len(chunk)
        whole = length == wanted["bytes"] and digest.hexdigest() == wanted["sha256"]
    except Exception as error:
        raise _damaged(path, f"{name} cannot be read") from error
    if not whole:
        raise _damaged(path, f"{name} does not match its checksum")
