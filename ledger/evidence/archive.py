"""The archive of a dossier: a zip file in one exact form, so that each of its bytes is accounted for.

A zip (PKWARE APPNOTE 6.3.10; clauses from memory) with every choice taken: members stored, never compressed, in the
order written, without gaps, comments, extra fields or flags, all dated 1980-01-01; zip64 only where a number needs it.
Stored, because compressed bytes differ between builds of zlib, and because what cannot be unpacked cannot burst.
Same members, same bytes; and a reader that makes the headers anew and compares finds every changed bit in them.
Any zip program opens it.

Written to a stream that need not seek, one member in memory at a time. Read from a file that can.
What the members mean is not known here.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import struct
import zlib
from array import array
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import BinaryIO, NamedTuple

from ledger.errors import MalformedDossier, TooLarge

MAX_MEMBERS = 2_000_000
MAX_NAME = 120
MAX_MEMBER_BYTES = 400_000_000

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*(?:/[A-Za-z0-9][A-Za-z0-9._-]*)?", re.ASCII)
_LOCAL = struct.Struct("<4sHHHHHIIIHH")
_CENTRAL = struct.Struct("<4sHHHHHHIIIHHHHHII")
_END = struct.Struct("<4sHHHHIIH")
_END64 = struct.Struct("<4sQHHIIQQQQ")
_LOCATOR64 = struct.Struct("<4sIQI")
_KEPT = struct.Struct("<BII")
_DATE = 0x0021
_FULL16, _FULL32 = 0xFFFF, 0xFFFFFFFF
_BLOCK = 1 << 20
_LINES = 1 << 16
_MOST_EXTRA = 12


class Member(NamedTuple):
    """Where a member stands: its name, the offset of its header, its size and CRC-32."""

    name: str
    offset: int
    size: int
    crc: int


def check_name(name: str) -> None:
    """A plain name, at most one folder deep, or MalformedDossier is raised: no way out of the folder, no other letters."""
    if len(name) > MAX_NAME or _NAME.fullmatch(name) is None:
        raise MalformedDossier("archive holds a name of another form", expected="folder/file, plain letters", got=name)


def _local_header(name: bytes, size: int, crc: int) -> bytes:
    return _LOCAL.pack(b"PK\x03\x04", 10, 0, 0, 0, _DATE, crc, size, size, len(name), 0) + name


def _central_header(name: bytes, offset: int, size: int, crc: int) -> bytes:
    far = offset >= _FULL32
    extra = struct.pack("<HHQ", 1, 8, offset) if far else b""
    version, offset = (45, _FULL32) if far else (10, offset)
    sizes = (crc, size, size, len(name), len(extra))
    return _CENTRAL.pack(b"PK\x01\x02", version, version, 0, 0, 0, _DATE, *sizes, 0, 0, 0, 0, offset) + name + extra


def _end_records(count: int, start: int, size: int) -> bytes:
    """What ends the archive: the directory's count, offset and size, again as zip64 where they need it."""
    wide = b""
    if count >= _FULL16 or start >= _FULL32 or size >= _FULL32:
        wide = _END64.pack(b"PK\x06\x06", 44, 45, 45, 0, 0, count, count, size, start)
        wide += _LOCATOR64.pack(b"PK\x06\x07", 0, start + size, 1)
    short = min(count, _FULL16)
    return wide + _END.pack(b"PK\x05\x06", 0, 0, short, short, min(size, _FULL32), min(start, _FULL32), 0)


class ArchiveWriter:
    """Writes members one after another; `close` ends the archive. Keeps a member's name and nine bytes more."""

    def __init__(self, out: BinaryIO) -> None:
        """Write to ``out``, from its present position."""
        self._out = out
        self._at = 0
        self._kept = bytearray()
        self._count = 0

    def add(self, name: str, content: bytes | bytearray) -> None:
        """Write one member. Raises MalformedDossier for a name of another form, TooLarge beyond the limits."""
        self.add_blocks(name, len(content), zlib.crc32(content), (content,))

    def add_blocks(self, name: str, size: int, crc: int, blocks: Iterable[bytes | bytearray]) -> None:
        """Write one member whose content comes in blocks; size and CRC-32 are known before. Raises as `add`."""
        check_name(name)
        if size > MAX_MEMBER_BYTES or self._count >= MAX_MEMBERS:
            raise TooLarge(
                "archive cannot hold it", expected=f"{MAX_MEMBER_BYTES} bytes, {MAX_MEMBERS} files", where=name
            )
        header = _local_header(name.encode("ascii"), size, crc)
        self._out.write(header)
        for block in blocks:
            self._out.write(block)
        self._at += len(header) + size
        self._kept += _KEPT.pack(len(name), size, crc) + name.encode("ascii")
        self._count += 1

    def members(self) -> Iterator[Member]:
        """The members written so far, in their order."""
        place = offset = 0
        while place < len(self._kept):
            length, size, crc = _KEPT.unpack_from(self._kept, place)
            place += _KEPT.size + length
            member = Member(self._kept[place - length : place].decode("ascii"), offset, size, crc)
            offset += _LOCAL.size + length + size
            yield member

    def close(self) -> None:
        """Write the directory and the end."""
        length = 0
        for member in self.members():
            header = _central_header(member.name.encode("ascii"), member.offset, member.size, member.crc)
            self._out.write(header)
            length += len(header)
        self._out.write(_end_records(self._count, self._at, length))


class Archive:
    """An archive whose directory and end have the one form. Members are checked as they are read.

    Raises MalformedDossier for anything else: another zip, a truncated one, bytes before, between or after, names out
    of form, a name twice, more than `MAX_MEMBERS`. Keeps about 200 bytes a member.
    """

    def __init__(self, file: BinaryIO) -> None:
        """Read the directory of ``file``, which must be able to seek."""
        self._file = file
        self._read_at = _reading(file)
        self.names: list[str] = []
        self._places: dict[str, int] = {}
        self._offsets, self._sizes, self._crcs = array("Q"), array("Q"), array("L")
        count, start, size = self._read_end()
        self._read_directory(count, start, size)

    def _read_end(self) -> tuple[int, int, int]:
        length = self._file.seek(0, 2)
        if length < _END.size:
            raise MalformedDossier("file is no dossier", expected="a zip file", got=f"{length} bytes")
        end = self._bytes_at(length - _END.size, _END.size)
        if end[:4] != b"PK\x05\x06":
            raise MalformedDossier("file is no dossier, or is cut short", expected="the end of a zip file", got=end[:4])
        count, size, start = (_END.unpack(end)[place] for place in (4, 5, 6))
        if _FULL16 == count or _FULL32 in (size, start):
            at = length - _END.size - _LOCATOR64.size - _END64.size
            if at < 0:
                raise MalformedDossier("archive's end is cut short")
            *_, count, size, start = _END64.unpack(self._bytes_at(at, _END64.size))
        if count > MAX_MEMBERS or size > MAX_MEMBERS * (_CENTRAL.size + MAX_NAME):
            raise MalformedDossier("archive holds too many files", expected=f"at most {MAX_MEMBERS}", got=count)
        expected = _end_records(count, start, size)
        if start + size + len(expected) != length or self._bytes_at(start + size, len(expected)) != expected:
            raise MalformedDossier("archive's end has another form", mend="get the dossier again, unchanged")
        return count, start, size

    def _read_directory(self, count: int, start: int, size: int) -> None:
        at, ahead, end = 0, _Ahead(self._bytes_at, start + size), start
        for _ in range(count):
            record = ahead.most(end, _CENTRAL.size + MAX_NAME + _MOST_EXTRA)
            if len(record) < _CENTRAL.size or bytes(record[:4]) != b"PK\x01\x02":
                raise MalformedDossier("archive's directory is cut short", got=f"{len(self.names)} of {count} files")
            parts = _CENTRAL.unpack_from(record)
            raw = bytes(record[_CENTRAL.size : _CENTRAL.size + parts[10]])
            name = raw.decode("ascii", "replace")
            check_name(name)
            expected = _central_header(raw, at, parts[9], parts[7])
            if bytes(record[: len(expected)]) != expected:
                raise MalformedDossier("archive's directory has another form", where=name)
            self._hold(Member(name, at, parts[9], parts[7]))
            end += len(expected)
            at += _LOCAL.size + len(raw) + parts[9]
        if (at, end) != (start, start + size):
            raise MalformedDossier("archive holds bytes that belong to no file")

    def _hold(self, member: Member) -> None:
        if member.name in self._places:
            raise MalformedDossier("archive holds a name twice", where=member.name)
        if member.size > MAX_MEMBER_BYTES:
            raise MalformedDossier("file is too long", expected=f"at most {MAX_MEMBER_BYTES} bytes", where=member.name)
        self._places[member.name] = len(self.names)
        self.names.append(member.name)
        self._offsets.append(member.offset)
        self._sizes.append(member.size)
        self._crcs.append(member.crc)

    def __contains__(self, name: str) -> bool:
        return name in self._places

    def size(self, name: str) -> int:
        """Length of a member in bytes. Raises MalformedDossier when there is none of this name."""
        return self._member(name).size

    def read(self, name: str, limit: int) -> bytes:
        """The content of a member of at most ``limit`` bytes, its header and CRC compared. Raises MalformedDossier."""
        member = self._member(name)
        if member.size > limit:
            raise MalformedDossier("file is too long", expected=f"at most {limit} bytes", got=member.size, where=name)
        return self._checked(member)

    def _checked(self, member: Member) -> bytes:
        """The content of a member, its header and CRC compared."""
        header = _local_header(member.name.encode("ascii"), member.size, member.crc)
        raw = self._bytes_at(member.offset, len(header) + member.size)
        content = raw[len(header) :]
        if not raw.startswith(header) or zlib.crc32(content) != member.crc:
            raise _changed(member.name)
        return content

    def lines(self, name: str, longest: int) -> Iterator[bytes]:
        """The lines of a member without their newlines, read one at a time. Raises MalformedDossier."""
        member = self._member(name)
        at = member.offset + _LOCAL.size + len(name)
        end = at + member.size
        rest = b""
        while at < end:
            # A line that ends is read whole by one more block; what is left over begins the next.
            block = self._bytes_at(at, min(max(_LINES, longest + 1), end - at))
            at += len(block)
            lines = (rest + block).split(b"\n")
            rest = lines.pop()
            for line in lines:
                if len(line) > longest:
                    raise MalformedDossier("line is too long or has no end", where=name)
                yield line
            if len(rest) > longest:
                break
        if rest:
            raise MalformedDossier("line is too long or has no end", where=name)

    def content(self, name: str, limit: int) -> bytes:
        """The content of a member of at most ``limit`` bytes, which was read by `read` or `digest` before: not again checked."""
        place = self._places.get(name)
        if place is None or self._sizes[place] > limit:
            return self.read(name, limit)
        return self._bytes_at(self._offsets[place] + _LOCAL.size + len(name), self._sizes[place])

    def part(self, name: str, begin: int, end: int) -> bytes:
        """The bytes of a member from ``begin`` up to ``end``, or up to its own end; not checked. Raises MalformedDossier."""
        member = self._member(name)
        end = min(end, member.size)
        return self._bytes_at(member.offset + _LOCAL.size + len(name) + begin, max(0, end - begin))

    def digest(self, name: str) -> str:
        """SHA-256 of a member, 64 lower hex digits, its header and CRC compared. Raises MalformedDossier."""
        member = self._member(name)
        if member.size > _BLOCK:
            digest = hashlib.sha256()
            for block in self.digest_blocks(name):
                digest.update(block)
            return digest.hexdigest()
        return hashlib.sha256(self._checked(member)).hexdigest()

    def digests(self, first: int, end: int) -> Iterator[str]:
        """`digest` of the members at these places of `names`, in turn, read some at a time. Raises MalformedDossier."""
        if first >= end:
            return
        last = end - 1
        stop = self._offsets[last] + _LOCAL.size + len(self.names[last]) + self._sizes[last]
        ahead, crc32, sha256 = _Ahead(self._bytes_at, stop), zlib.crc32, hashlib.sha256
        for place in range(first, end):
            name, size, crc = self.names[place], self._sizes[place], self._crcs[place]
            if size > _BLOCK:
                yield self.digest(name)
                continue
            header = _local_header(name.encode("ascii"), size, crc)
            length = len(header)
            raw = ahead.most(self._offsets[place], length + size)
            content = raw[length:]
            if bytes(raw[:length]) != header or crc32(content) != crc:
                raise _changed(name)
            yield sha256(content).hexdigest()

    def digest_blocks(self, name: str) -> Iterator[bytes]:
        """The content of a member in blocks, its header and CRC compared. Raises MalformedDossier."""
        member = self._member(name)
        header = _local_header(name.encode("ascii"), member.size, member.crc)
        if self._bytes_at(member.offset, len(header)) != header:
            raise _changed(name)
        left, crc, at = member.size, 0, member.offset + len(header)
        while left:
            block = self._bytes_at(at, min(left, _BLOCK))
            crc = zlib.crc32(block, crc)
            left, at = left - len(block), at + len(block)
            yield block
        if crc != member.crc:
            raise _changed(name)

    def _member(self, name: str) -> Member:
        place = self._places.get(name)
        if place is None:
            raise MalformedDossier("file is missing from the dossier", where=name)
        return Member(name, self._offsets[place], self._sizes[place], self._crcs[place])

    def _bytes_at(self, offset: int, length: int) -> bytes:
        raw = self._read_at(offset, length)
        if len(raw) != length:
            raise MalformedDossier("dossier is cut short", expected=f"{length} bytes at {offset}", got=len(raw))
        return raw


class _Ahead:
    """Bytes of a file in ascending order, read a block at a time, up to ``stop``."""

    def __init__(self, read: Callable[[int, int], bytes], stop: int) -> None:
        self._read = read
        self._stop = stop
        self._begin = self._end = 0
        self._block = memoryview(b"")

    def most(self, offset: int, length: int) -> memoryview:
        """The bytes there; fewer where ``stop`` comes before."""
        if offset < self._begin or offset + length > self._end:
            self._begin = offset
            self._end = min(self._stop, offset + max(length, _BLOCK))
            self._block = memoryview(self._read(offset, max(0, self._end - offset)))
        return self._block[offset - self._begin : offset - self._begin + length]


def _reading(file: BinaryIO) -> Callable[[int, int], bytes]:
    """Reads (offset, length) of a file; of one of the system's without its position, which other processes may share."""
    if isinstance(file, io.BufferedReader | io.FileIO) and hasattr(os, "pread"):
        return partial(_pread, file.fileno())

    def seek_and_read(offset: int, length: int) -> bytes:
        file.seek(offset)
        return file.read(length)

    return seek_and_read


def _pread(descriptor: int, offset: int, length: int) -> bytes:
    return os.pread(descriptor, length, offset)


def _changed(name: str) -> MalformedDossier:
    return MalformedDossier("file is not as its directory says", where=name, mend="get the dossier again")
