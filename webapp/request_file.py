"""A request from a file, from standard input, or from a scenario's name: TOML or JSON."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from scenarios import UnknownScenario, scenario, without_scenario
from webapp.text_file import STDIN, FileRefused, text_of

__all__ = ["LARGEST_BYTES", "FileRefused", "entries_of", "parsed"]

LARGEST_BYTES = 256 * 1024
_KIND = "a request"


def entries_of(name: str) -> dict[str, Any]:
    """Raw entries of the named file, of standard input (``-``) or of a scenario.

    Raises `FileRefused`.
    """
    if name == STDIN:
        text = text_of(STDIN, LARGEST_BYTES, _KIND)
        return parsed(text, "standard input", is_json=text.lstrip().startswith("{"))
    path = Path(name)
    if not _is_there(path) and re.fullmatch(r"[a-z0-9-]+", name):
        return _scenario_entries(name)
    return parsed(text_of(name, LARGEST_BYTES, _KIND), name, is_json=path.suffix.lower() == ".json")


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def _scenario_entries(name: str) -> dict[str, Any]:
    try:
        return dict(scenario(name).entries)
    except UnknownScenario as unknown:
        raise FileRefused(f"There is no file {name} here. {unknown}") from None


def parsed(text: str, name: str, *, is_json: bool) -> dict[str, Any]:
    """Entries of a text in TOML or JSON.

    Raises `FileRefused`, naming the line.
    """
    kind = "JSON" if is_json else "TOML"
    try:
        entries = json.loads(text, object_pairs_hook=_once_each) if is_json else tomllib.loads(text)
    except json.JSONDecodeError as error:
        raise FileRefused(f"{name}, line {error.lineno}, column {error.colno}: not JSON ({error.msg}).") from None
    except tomllib.TOMLDecodeError as error:
        raise FileRefused(_toml_words(name, text, str(error))) from None
    except RecursionError:
        raise FileRefused(f"{name} is nested too deeply to be a request.") from None
    except ValueError as error:
        raise FileRefused(f"{name} cannot be read as {kind} ({error}).") from None
    if not isinstance(entries, dict):
        raise FileRefused(f"{name}: a request in JSON is an object, written in curly brackets.")
    return without_scenario(entries)


def _once_each(pairs: list[tuple[str, Any]]) -> Mapping[str, Any]:
    entries = dict(pairs)
    if len(entries) < len(pairs):
        seen: set[str] = set()
        twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise ValueError(f"“{twice}” is given twice")
    return entries


def _toml_words(name: str, text: str, error: str) -> str:
    place = re.search(r" \(at line (\d+), column (\d+)\)$", error)
    if place is None:
        return f"{name}, line {text.count(chr(10)) + 1}: not TOML ({error.removesuffix(' (at end of document)')})."
    words = error[: place.start()]
    return f"{name}, line {place[1]}, column {place[2]}: not TOML ({words})."
