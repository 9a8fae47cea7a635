"""A text file that somebody named, or standard input, read within a bound."""

import sys
from pathlib import Path

STDIN = "-"


class FileRefused(Exception):  # noqa: N818 - told as an event
    """A file cannot be read; the message says why and what to do."""


def text_of(name: str, largest_bytes: int, kind: str) -> str:
    """UTF-8 text of the named file, or of standard input for ``-``.

    `kind` says what the file ought to be, such as “a request”. Raises `FileRefused`.
    """
    if name == STDIN:
        return decoded(sys.stdin.buffer.read(largest_bytes + 1), "standard input", largest_bytes, kind)
    path = Path(name)
    try:
        if path.is_dir():
            raise FileRefused(f"{path} is a folder: name a file in it.")
        with path.open("rb") as file:
            return decoded(file.read(largest_bytes + 1), str(path), largest_bytes, kind)
    except FileNotFoundError:
        raise FileRefused(f"There is no file {path}: check the name and the folder.") from None
    except (OSError, ValueError) as error:
        raise FileRefused(f"{path} cannot be read ({getattr(error, 'strerror', None) or error}).") from None


def decoded(data: bytes, name: str, largest_bytes: int, kind: str) -> str:
    """UTF-8 text of bytes that bear a name. Raises `FileRefused`."""
    if len(data) > largest_bytes:
        raise FileRefused(f"{name} is larger than {largest_bytes // 1024} kB, the most for {kind}: check the file.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FileRefused(f"{name}, line {line}: not UTF-8 text. Save it as UTF-8, or check the file.") from None
    if "\0" in text:
        raise FileRefused(f"{name} holds zero bytes, so it is not a text file: check the file.")
    return text
