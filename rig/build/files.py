"""The sheet's files: all of them whole, or none touched."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rig.errors import ConfigError
from rig.files import flush_folder, write_whole


def write_sheets(files: Mapping[Path, bytes]) -> None:
    """Write the sheet's files; all are on the disk before the first takes its name.

    Parameters
    ----------
    files : mapping of Path to bytes

    Raises
    ------
    ConfigError
        One can't be written; then each is what it was before.
    """
    new = {path: path.with_name(path.name + ".new") for path in map(Path, files)}
    path = Path()
    try:
        for path, content in files.items():
            if path.is_dir():
                raise IsADirectoryError(21, "Is a directory")
            write_whole(new[path], content)
        for path, whole in new.items():
            whole.replace(path)
            flush_folder(path.parent)
    except OSError as error:
        for whole in new.values():
            whole.unlink(missing_ok=True)
        raise ConfigError(f"{path} can't be written: {error.strerror}") from None
