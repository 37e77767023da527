"""``helm.toml``: what ``moonless helm`` uses when it is started without links.  Read strictly, written whole.

    # $XDG_CONFIG_HOME/moonless/helm.toml, else ~/.config/moonless/helm.toml
    boat = "boat.toml"
    charts = ["/home/me/charts"]
    radar = "udp://239.255.0.1:8600"
    nmea = ["udp://0.0.0.0:10110", "serial:/dev/ttyUSB0?baud=38400"]

    [prefer]
    heading = {link = "udp://0.0.0.0:10110", talker = "HE"}

    [screen]
    length_unit = "feet"

Paths are taken from the folder that the file lies in.
"""

from __future__ import annotations

import difflib
import os
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError

from moonless.boat.write import keep_text
from moonless.errors import InputError
from moonless.watch.instruments.source_priority import CHOOSABLE
from moonless.wire.links import parse_link

LengthUnit = Literal["metres", "feet"]
LENGTH_UNITS: tuple[LengthUnit, ...] = ("metres", "feet")

# Key, what it is: in the order written.
KEYS: Mapping[str, str] = {
    "boat": "The boat file.",
    "charts": "Folders or files of charts.",
    "radar": "Radar video, ASTERIX category 240: a LINK (docs/connect.md).",
    "nmea": "NMEA 0183 and AIS: LINKs.",
}
TABLES: Mapping[str, str] = {
    "prefer": "Where several say the same, the one named here is followed while it speaks.",
    "screen": "How the set-up asks.",
}
_SCREEN = ("length_unit",)
_PREFER = ("link", "talker")
HEAD = (
    "What `moonless helm` uses when it is started without links; docs/connect.md tells of it.",
    "Written by the set-up screen, and yours to edit: your comments stay.",
)


class SettingsError(InputError):
    """A helm.toml that cannot be used.  ``key`` names the entry, dotted."""

    def __init__(self, path: Path, key: str, problem: str) -> None:
        self.path, self.key = path, key
        super().__init__(f"{path}: {key}: {problem}" if key else f"{path}: {problem}")


@dataclass(frozen=True, slots=True)
class HelmSettings:
    """The file, whole; ``boat`` and ``charts`` as written, see `resolved`."""

    boat: str | None = None
    charts: tuple[str, ...] = ()
    radar: str | None = None
    nmea: tuple[str, ...] = ()
    prefer: Mapping[str, tuple[str, str]] = field(default_factory=dict)  # thing -> (link, talker)
    length_unit: LengthUnit = "metres"

    @property
    def has_links(self) -> bool:
        """Return whether there is anything to watch."""
        return self.radar is not None or bool(self.nmea)


def default_path() -> Path:
    """Return where the file is kept, by the platform's custom."""
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming") / "moonless" / "helm.toml"
    return Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config") / "moonless" / "helm.toml"


def resolved(path: Path, written: str) -> Path:
    """Return a path of the file: from the folder it lies in, ``~`` for home."""
    return path.parent / Path(written).expanduser()


def read_settings(path: Path) -> HelmSettings:
    """Return what a helm.toml says.

    Raises SettingsError in one plain line: not TOML, a key that is not known (the nearest is named), a bad value.
    """
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "is not UTF-8 text"
        raise SettingsError(path, "", f"cannot be read: {reason}") from problem
    except tomllib.TOMLDecodeError as problem:
        raise SettingsError(path, "", f"is not TOML: {problem}") from problem
    return _settings(path, found)


def _settings(path: Path, found: Mapping[str, Any]) -> HelmSettings:
    _only(path, "", found, (*KEYS, *TABLES))
    boat, radar = _text(path, "boat", found.get("boat")), _text(path, "radar", found.get("radar"))
    charts, nmea = _texts(path, "charts", found.get("charts", [])), _texts(path, "nmea", found.get("nmea", []))
    for key, link in (("radar", radar), *(("nmea", one) for one in nmea)):
        if link is not None:
            _link(path, key, link)
    screen = _table(path, "screen", found.get("screen", {}))
    _only(path, "screen", screen, _SCREEN)
    unit = screen.get("length_unit", "metres")
    if unit not in LENGTH_UNITS:
        raise SettingsError(path, "screen.length_unit", f"{unit!r} is not one of {', '.join(LENGTH_UNITS)}")
    return HelmSettings(boat, charts, radar, nmea, _prefer(path, found.get("prefer", {})), cast(LengthUnit, unit))


def _prefer(path: Path, found: Any) -> dict[str, tuple[str, str]]:
    table = _table(path, "prefer", found)
    _only(path, "prefer", table, CHOOSABLE)
    chosen = {}
    for what, given in table.items():
        one = _table(path, f"prefer.{what}", given)
        _only(path, f"prefer.{what}", one, _PREFER)
        link = _text(path, f"prefer.{what}.link", one.get("link"))
        if link is None:
            raise SettingsError(path, f"prefer.{what}.link", "is missing: which link is followed?")
        talker = one.get("talker", "")
        if not isinstance(talker, str):
            raise SettingsError(path, f"prefer.{what}.talker", f"{talker!r} is not text")
        chosen[what] = (link, talker)
    return chosen


def write_settings(path: Path, settings: HelmSettings) -> None:
    """Put the settings in the file; what a person wrote beside them stays.

    Raises
    ------
    SettingsError  If the file is there and is not one that could be read; it is left alone.
    InputError  If it cannot be written.
    """
    if path.exists():
        try:
            document = tomlkit.parse(path.read_bytes())
        except (OSError, UnicodeDecodeError, TOMLKitError) as problem:
            raise SettingsError(path, "", f"is not TOML: {problem}") from problem
        _settings(path, document.unwrap())
    else:
        document = tomlkit.document()
        for line in HEAD:
            document.add(tomlkit.comment(line))
        document.add(tomlkit.nl())
    values = {
        "boat": settings.boat,
        "charts": list(settings.charts) or None,
        "radar": settings.radar,
        "nmea": list(settings.nmea) or None,
    }
    for key, value in values.items():
        _put(document, key, value, KEYS[key])
    prefer = {w: {"link": link, "talker": talker} for w, (link, talker) in settings.prefer.items()}
    _put_table(document, "prefer", prefer)
    is_plain = settings.length_unit == "metres" and "screen" not in document
    _put_table(document, "screen", {} if is_plain else {"length_unit": settings.length_unit})
    if _settings(path, document.unwrap()) != settings:
        raise SettingsError(path, "", "could not be changed without changing what else it says; edit it by hand")
    keep_text(path, tomlkit.dumps(document))


def _put(document: tomlkit.TOMLDocument, key: str, value: Any, says: str) -> None:
    if value is None:
        if key in document:
            document.remove(key)
        return
    if key in document:
        if document[key].unwrap() != value:
            document[key] = value
        return
    item = tomlkit.item(value)
    item.comment(says)
    # Before the tables: after them it would belong to the last.
    tables = [(name, document[name]) for name in TABLES if name in document]
    for name, _ in tables:
        document.remove(name)
    document.add(key, item)
    for name, table in tables:
        document.add(name, table)


def _put_table(document: tomlkit.TOMLDocument, name: str, values: Mapping[str, Any]) -> None:
    if name not in document:
        if not values:
            return
        table = tomlkit.table()
        table.comment(TABLES[name])
        document.add(tomlkit.nl())
        document.add(name, table)
    table = cast(Any, document[name])
    for key in [key for key in table if key not in values]:
        table.remove(key)
    for key, value in values.items():
        if isinstance(value, Mapping):
            inline = tomlkit.inline_table()
            inline.update(value)
            value = inline
        if key not in table or table[key].unwrap() != (value.unwrap() if hasattr(value, "unwrap") else value):
            table[key] = value
    if not values and not any(key is not None for key, _ in table.value.body):
        document.remove(name)


def _only(path: Path, table: str, found: Mapping[str, Any], valid: tuple[str, ...]) -> None:
    for name in found:
        if name not in valid:
            close = difflib.get_close_matches(name, valid, n=1, cutoff=0.4)
            nearest = f'; did you mean "{close[0]}"?' if close else f"; there are: {', '.join(valid)}"
            where = f"{table}.{name}" if table else name
            raise SettingsError(path, where, f"is not a key of {f'[{table}]' if table else 'helm.toml'}{nearest}")


def _table(path: Path, key: str, found: Any) -> Mapping[str, Any]:
    if not isinstance(found, Mapping):
        raise SettingsError(path, key, f"must be a table, [{key}]")
    return found


def _text(path: Path, key: str, value: Any) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip():
        raise SettingsError(path, key, f"{value!r} is not text")
    return value


def _texts(path: Path, key: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(one, str) and one.strip() for one in value):
        raise SettingsError(path, key, f"{value!r} is not a list of texts")
    return tuple(value)


def _link(path: Path, key: str, text: str) -> None:
    try:
        parse_link(text)
    except InputError as problem:
        raise SettingsError(path, key, str(problem)) from problem
