"""A small disk for temporary files that can be filled up: a tmpfs, which only root may mount."""

from __future__ import annotations

import errno
import subprocess
import tempfile
from pathlib import Path

SIZE_MB = 96
"""Size of the disk, MB: room for the temporary files of a few short films (working value)."""


class SmallDisk:
    """A mounted folder. Raises ``RuntimeError`` where it may not be mounted."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="servewright-chaos-disk-"))
        options = ["-t", "tmpfs", "-o", f"size={SIZE_MB}m,mode=1777", "none", str(self.folder)]
        done = subprocess.run(["mount", *options], capture_output=True, text=True, check=False)
        if done.returncode != 0:
            self.folder.rmdir()
            raise RuntimeError(f"a tmpfs cannot be mounted: {done.stderr.strip()}")
        self._ballast = self.folder / "ballast"

    def fill(self) -> None:
        """Leave no byte free."""
        with self._ballast.open("wb", buffering=0) as file:
            size = 1 << 20
            while size:
                try:
                    file.write(bytes(size))
                except OSError as error:
                    if error.errno != errno.ENOSPC:
                        raise
                    size //= 2

    def free(self) -> None:
        """Give the room back."""
        self._ballast.unlink(missing_ok=True)

    def close(self) -> None:
        """Unmount it."""
        subprocess.run(["umount", "-l", str(self.folder)], capture_output=True, check=False)
        self.folder.rmdir()
