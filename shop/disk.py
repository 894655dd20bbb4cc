"""Where pictures are kept: on the disk before their row says that they are."""

import os
from pathlib import Path
from typing import Any

from django.core.files.storage import FileSystemStorage


class Disk(FileSystemStorage):
    """Files that survive a pulled plug as surely as the rows that name them."""

    def _save(self, name: str, content: Any) -> str:
        kept = super()._save(name, content)
        path = Path(self.path(kept))
        _to_disk(path)
        if os.name == "posix":  # elsewhere a folder can't be opened
            _to_disk(path.parent)
        return kept


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
