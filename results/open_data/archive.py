"""Looking up open data: the releases, and the files within their archives, read piece by piece."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any

from django.db.models import QuerySet

from results.models import Release, ReleasePart
from results.open_data.kept import ARCHIVE, PART_BYTES


def releases() -> QuerySet[Release]:
    """Releases that were made, the newest first."""
    return Release.objects.filter(state=Release.State.MADE).order_by("-number")


def file_of(release: Release, name: str) -> dict[str, Any] | None:
    """Name, bytes and SHA-256 of a file of a release, the whole archive among them."""
    if name == ARCHIVE:
        return {"name": ARCHIVE, "bytes": release.bytes, "sha256": release.sha256}
    return next((file for file in release.files if file["name"] == name), None)


def pieces_of(release: Release, name: str) -> Iterator[bytes]:
    """The bytes of a file of a release, unpacked; a piece at a time."""
    if name == ARCHIVE:
        for number in range(-(-release.bytes // PART_BYTES)):
            yield _part(release, number)
        return
    with zipfile.ZipFile(_Archive(release)) as packed, packed.open(name) as opened:
        while piece := opened.read(PART_BYTES):
            yield piece


def _part(release: Release, number: int) -> bytes:
    return bytes(ReleasePart.objects.get(release=release, number=number).body)


class _Archive(io.RawIOBase):
    """The stored archive as a file to read and to seek in; one part of it in memory."""

    def __init__(self, release: Release) -> None:
        self.release, self.at = release, 0
        self.held: tuple[int, bytes] = (-1, b"")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self.at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self.at, io.SEEK_END: self.release.bytes}[whence]
        self.at = start + offset
        return self.at

    def readinto(self, buffer: Any) -> int:
        number, within = divmod(self.at, PART_BYTES)
        if self.at >= self.release.bytes:
            return 0
        if self.held[0] != number:
            self.held = (number, _part(self.release, number))
        piece = self.held[1][within : within + len(buffer)]
        buffer[: len(piece)] = piece
        self.at += len(piece)
        return len(piece)
