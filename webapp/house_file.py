"""The house's settings in a file of the data folder, that people may edit by hand."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from valuation import Problem, problems_of
from webapp.house import House, ended
from webapp.house_text import house_toml
from webapp.request_file import parsed
from webapp.text_file import FileRefused, text_of

FILE = "house.toml"
LARGEST_BYTES = 64 * 1024
MOST_REMEMBERED = 50
MOST_SET_ASIDE = 999
# Half of these terms would be other terms: one mistake leaves out the table.
_ALL_OR_NOTHING = frozenset({"refiner", "collector"})


class NotSaved(Exception):  # noqa: N818 - told as an event
    """The file could not be written; nothing of it has changed."""


@dataclass(frozen=True)
class HouseRead:
    """The file as it is now.

    Parameters
    ----------
    house : House
        What of it can be used.
    trouble : tuple of str
        What of it cannot, in sentences.
    seen : str
        Stands for these very contents; empty if there is no file.
    """

    house: House = field(default_factory=House)
    trouble: tuple[str, ...] = ()
    seen: str = ""


class ChangedMeanwhile(Exception):  # noqa: N818 - told as an event
    """The file is no longer the one that was seen.

    Parameters
    ----------
    now : HouseRead
        As it is now.
    before : House or None
        As it was when it was seen, if that is still known.
    """

    def __init__(self, now: HouseRead, before: House | None) -> None:
        super().__init__("changed meanwhile")
        self.now, self.before = now, before


class HouseFile:
    """The file in a folder. It is read anew whenever it has changed; nothing about it ever stops the program."""

    def __init__(self, folder: Path) -> None:
        self.path = Path(os.path.realpath(folder / FILE))
        self._lock = threading.Lock()
        self._last: tuple[tuple[int, ...], HouseRead] | None = None
        self._known: dict[str, House] = {}

    def read(self) -> HouseRead:
        """The file as it is now."""
        mark, last = _mark(self.path), self._last
        if last is not None and last[0] == mark:
            return last[1]
        found = _found(self.path)
        self._last = (mark, found)
        self._remember(found)
        return found

    def save(self, house: House, seen: str) -> str:
        """Replace the file by these settings, all at once.

        Returns the name under which the file before was set aside, because it held more than settings; else an empty
        text. Raises `ChangedMeanwhile` unless the file is still the one `seen`, and `NotSaved`.
        """
        with self._lock:
            now = _found(self.path)
            if now.seen != seen:
                raise ChangedMeanwhile(now, self._known.get(seen))
            try:
                aside = _set_aside(self.path) if _is_by_hand(self.path, now) else ""
                _replace(self.path, house_toml(house))
            except OSError as error:
                why = error.strerror or str(error)
                raise NotSaved(f"{self.path} cannot be written ({why}). See to the rights of the folder.") from error
            return aside

    def _remember(self, found: HouseRead) -> None:
        known = {**self._known, found.seen: found.house}
        self._known = dict(list(known.items())[-MOST_REMEMBERED:])


def house_in(folder: Path) -> HouseRead:
    """The house's settings in a data folder, for what runs without the server."""
    return _found(folder / FILE)


def _mark(path: Path) -> tuple[int, ...]:
    try:
        stat = path.stat()
    except (OSError, ValueError):
        return ()
    return stat.st_mtime_ns, stat.st_size, stat.st_ino, stat.st_mode


def _found(path: Path) -> HouseRead:
    if not os.path.lexists(path):
        return HouseRead()
    try:
        text = text_of(str(path), LARGEST_BYTES, "house settings")
    except FileRefused as refused:
        return HouseRead(trouble=(f"{refused} None of it is used.",), seen=_digest(str(refused)))
    seen = _digest(text)
    try:
        entries = parsed(text, FILE, is_json=False)
    except FileRefused as refused:
        return HouseRead(trouble=(f"{refused} None of it is used.",), seen=seen)
    house, problems = _usable(entries)
    return HouseRead(house, tuple(_sentence(problem, text) for problem in problems), seen)


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def _usable(entries: Mapping[str, Any]) -> tuple[House, list[Problem]]:
    """Settings from entries, without those that are wrong."""
    kept = {key: dict(value) if isinstance(value, dict) else value for key, value in entries.items()}
    places = list(range(len(kept["feeds"]))) if isinstance(kept.get("feeds"), list) else []
    found: list[Problem] = []
    while True:
        try:
            return House.model_validate(kept), found
        except ValidationError as refused:
            wrong_feeds = set()
            for problem in problems_of(refused, House):
                position = problem.field.split(".")[1] if problem.field.startswith("feeds.") and places else ""
                if position:
                    wrong_feeds.add(int(position))
                    problem = problem.model_copy(update={"field": _moved(problem.field, places)})
                else:
                    _drop(kept, problem.field)
                found.append(problem)
            if wrong_feeds and "feeds" in kept:
                kept["feeds"] = [feed for i, feed in enumerate(kept["feeds"]) if i not in wrong_feeds]
                places = [place for i, place in enumerate(places) if i not in wrong_feeds]


def _moved(path: str, places: list[int]) -> str:
    """The path of a feed's setting, with its position in the file."""
    name, position, rest = path.split(".", 2) if path.count(".") > 1 else (*path.split("."), "")
    return ".".join(filter(None, (name, str(places[int(position)]), rest)))


def _drop(kept: dict[str, Any], path: str) -> None:
    section, _, rest = path.partition(".")
    inner = kept.get(section)
    if rest and isinstance(inner, dict) and section not in _ALL_OR_NOTHING:
        inner.pop(rest.partition(".")[0], None)
    else:
        kept.pop(section, None)


def _sentence(problem: Problem, text: str) -> str:
    section = problem.field.partition(".")[0]
    line = _line_of(problem.field, text)
    place = f"{FILE}, line {line}" if line else FILE
    entered = f" ({problem.value})" if problem.value else ""
    dropped = f"All of [{section}] is left out." if section in _ALL_OR_NOTHING else "It is left out."
    if section == "feeds" and "." in problem.field:
        dropped = "This feed is left out."
    return f"{place}, {problem.field}{entered}: {ended(problem.message)} {dropped}"


def _line_of(path: str, text: str) -> int | None:
    """The line that a setting stands in, as near as its table and key tell; None if it is not found."""
    wanted, table = path.split("."), list[str]()
    repeats: dict[str, int] = {}
    best: tuple[int, int | None] = (0, None)
    for number, line in enumerate(text.splitlines(), start=1):
        bare = line.strip()
        if bare.startswith("["):
            table = _keys(bare.strip("[]").partition("]")[0])
            if bare.startswith("[["):
                repeats[table[0]] = repeats.get(table[0], -1) + 1
                table = [*table, str(repeats[table[0]])]
            here = table
        else:
            here = [*table, *_keys(bare.partition("=")[0])] if "=" in bare and not bare.startswith("#") else []
        if here and wanted[: len(here)] == here and len(here) > best[0]:
            best = (len(here), number)
    return best[1]


def _keys(dotted: str) -> list[str]:
    return [key.strip().strip("\"'") for key in dotted.split(".")]


# ---- writing


def _is_by_hand(path: Path, now: HouseRead) -> bool:
    """Whether a file holds anything that writing its settings anew would not."""
    if not now.seen:
        return False
    return bool(now.trouble) or now.seen != _digest(house_toml(now.house))


def _set_aside(path: Path) -> str:
    """A copy of the file under a name of its own."""
    for number in range(1, MOST_SET_ASIDE + 1):
        aside = path.with_name(f"house-before-{number}.toml")
        try:
            os.link(path, aside)
        except FileExistsError:
            continue
        except OSError:  # a file system without links
            if os.path.lexists(aside):
                continue
            shutil.copy(path, aside)  # with its rights
        return aside.name
    raise OSError(f"there are {MOST_SET_ASIDE} files house-before-… already")


def _replace(path: Path, text: str) -> None:
    """Put a text in the place of a file, so that at any moment there is the whole of the one or of the other."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, fresh = tempfile.mkstemp(prefix=".house-", suffix=".toml", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(fresh)
        raise
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
