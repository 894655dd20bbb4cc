"""What is kept is on the disk."""

import os
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage


def test_a_picture_and_its_folder_are_on_the_disk_before_it_counts_as_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """POSIX fsync(2): a file's contents, and the folder entry that leads to it, each by a call of its own."""
    synced: list[Path] = []
    fsync = os.fsync

    def watched(handle: int) -> None:
        synced.append(Path(os.readlink(f"/proc/self/fd/{handle}")))
        fsync(handle)

    monkeypatch.setattr(os, "fsync", watched)
    name = default_storage.save("photos/2611/x.jpg", ContentFile(b"picture"))
    path = Path(default_storage.path(name)).resolve()
    assert {path, path.parent} <= set(synced)
    assert path.read_bytes() == b"picture"
