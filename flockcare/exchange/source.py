"""A folder or a zip file to read from. No name leads out of it, nothing unpacks without limit."""

import io
import stat
import struct
import zipfile
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from flockcare.exchange.problems import Problem, Refused
from flockcare.photos.intake import MAX_BYTES

MOST_FILES = 50_000
LARGEST_FILE = max(MAX_BYTES, 64 * 1024 * 1024)
LARGEST_SUM = 20 * 1024**3
# The list of MOST_FILES files is shorter; zipfile reads a list whole, however long it says it is.
LARGEST_LIST = 16 * 1024 * 1024
_PIECE = 256 * 1024
# What any program packs with, and what unpacks to no more than is asked for.
_PACKINGS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}


def safe_name(name: str) -> PurePosixPath:
    """A relative path without detours; ValueError for anything else."""
    path = PurePosixPath(name)
    if not name or {"\\", "\0"} & set(name) or path.is_absolute() or ".." in path.parts:
        raise ValueError(f"“{name}” does not lead to a file inside the folder.")
    return path


class Folder:
    def __init__(self, root: Path):
        self.root = root.resolve()

    def top_names(self) -> list[str]:
        return sorted(path.name for path in self.root.iterdir() if path.is_file())

    def size(self, name: str) -> int | None:
        path = self._path(name)
        return path.stat().st_size if path.is_file() else None

    def open(self, name: str) -> BinaryIO:
        return self._path(name).open("rb")

    def _path(self, name: str) -> Path:
        path = (self.root / safe_name(name)).resolve()
        if not path.is_relative_to(self.root):
            raise ValueError(f"“{name}” leads out of the folder.")
        return path


class Zip:
    """Members are read whole into memory one at a time, each no larger than LARGEST_FILE."""

    def __init__(self, path: Path):
        self._file = path.name
        try:
            self._zip = zipfile.ZipFile(_InPieces(path))
        # A damaged list of files makes zipfile say any of these.
        except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError, struct.error):
            raise self._refused("This is not a zip file, or it is damaged.") from None
        members = [member for member in self._zip.infolist() if not _by_the_way(member)]
        self._look_at(members)
        top = _common_top([member.filename for member in members])
        self._members = {member.filename.removeprefix(top): member for member in members}
        if len(self._members) < len(members):
            raise self._refused("It has two files of the same name.")

    def top_names(self) -> list[str]:
        return sorted(name for name in self._members if "/" not in name)

    def size(self, name: str) -> int | None:
        member = self._members.get(str(safe_name(name)))
        return member.file_size if member else None

    def open(self, name: str) -> BinaryIO:
        try:
            return io.BytesIO(unpacked(self._zip, self._members[str(safe_name(name))]))
        # zlib.error and the like: whatever a damaged member makes the unpacker say.
        except Exception:
            raise ValueError(f"“{name}” is damaged inside the zip file.") from None

    def _look_at(self, members: list[zipfile.ZipInfo]) -> None:
        # ``unpacked`` takes no more of a member than the size it states, so these can be trusted.
        if len(members) > MOST_FILES:
            raise self._refused(f"It has more than {MOST_FILES} files.")
        if sum(member.file_size for member in members) > LARGEST_SUM:
            raise self._refused("Unpacked it would be larger than 20 GB.")
        for member in members:
            try:
                safe_name(member.filename)
            except ValueError as error:
                raise self._refused(str(error)) from None
            if stat.S_ISLNK(member.external_attr >> 16):
                raise self._refused(f"“{member.filename}” is a link, not a file.")
            if member.flag_bits & 0x1:
                raise self._refused("It has a password. Save it without.")
            if member.compress_type not in _PACKINGS:
                raise self._refused(
                    f"“{member.filename}” is packed in an unusual way. Pack it as an ordinary zip."
                )
            if member.file_size > LARGEST_FILE:
                raise self._refused(f"“{member.filename}” is larger than 64 MB when unpacked.")

    def _refused(self, message: str) -> Refused:
        return Refused([Problem(self._file, message)])


class _InPieces(io.FileIO):
    """A file of which never more is read at once than LARGEST_LIST."""

    def read(self, size=-1):
        if size > LARGEST_LIST:
            raise zipfile.BadZipFile("Its list of files is too long.")
        return super().read(size)

    def __del__(self):
        self.close()  # as zipfile does with the files that it opens


def unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """The whole of a member, and never more in memory than the size it states.

    Asked for everything at once, zipfile unpacks all there is, and only then cuts it to that size.
    Raises whatever a damaged member makes the unpacker say.
    """
    if member.compress_type not in _PACKINGS:
        raise NotImplementedError("This kind of zip is not accepted. Pack it as an ordinary zip.")
    with archive.open(member) as packed:
        return b"".join(iter(lambda: packed.read(_PIECE), b""))


def _by_the_way(member: zipfile.ZipInfo) -> bool:
    """Folders, and what some computers put into every zip beside the files themselves."""
    path = PurePosixPath(member.filename)
    return (
        member.filename.endswith("/") or path.name == ".DS_Store" or path.parts[:1] == ("__MACOSX",)
    )


def _common_top(names: list[str]) -> str:
    """The one folder that everything lies in, with its slash, when someone packed a folder."""
    tops = {name.partition("/")[0] for name in names}
    nested = all("/" in name for name in names)
    top = tops.pop() if len(tops) == 1 and nested else ""
    return f"{top}/" if top else ""


def open_source(path: Path) -> Folder | Zip:
    if path.is_dir():
        return Folder(path)
    if path.is_file():
        return Zip(path)
    raise Refused([Problem(str(path), "There is no such folder or zip file.")])
