"""``helm.toml``: what ``moonless helm`` uses when it is started without links.  Read strictly, written whole.

    # where `moonless.folders.settings_file` says
    boat = "boat.toml"
    charts = ["/home/me/charts"]
    radar = "udp://239.255.0.1:8600"
    nmea = ["udp://0.0.0.0:10110", "serial:/dev/ttyUSB0?baud=38400"]
    tides = ["stations.json"]

    [prefer]
    heading = {link = "udp://0.0.0.0:10110", talker = "HE"}

    [screen]
    length_unit = "feet"

Paths are taken from the folder that the file lies in.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, cast

import tomlkit

from moonless.errors import InputError, TableError
from moonless.files import write_whole
from moonless.tables import Key, TableReader, editable, parse
from moonless.watch.instruments.source_priority import CHOOSABLE
from moonless.wire.links import parse_link

LengthUnit = Literal["metres", "feet"]
LENGTH_UNITS: tuple[LengthUnit, ...] = ("metres", "feet")

KEYS: tuple[Key, ...] = (
    Key("", "boat", "text", "boat.toml", "The boat file."),
    Key("", "charts", "texts", "none", "Folders or files of charts."),
    Key("", "radar", "text", "none", "Radar video, ASTERIX category 240: a LINK (docs/connect.md)."),
    Key("", "nmea", "texts", "none", "NMEA 0183 and AIS: LINKs."),
    Key("", "tides", "texts", "none", "Files of tide and stream stations (JSON)."),
    Key("", "prefer", "table", "none", "Where several say the same, the one named here is followed while it speaks."),
    Key("", "screen", "table", "none", "How the set-up asks."),
    *(Key("prefer", what, "table", "none", "The source that is followed.") for what in CHOOSABLE),
    *(Key(f"prefer.{what}", "link", "text", "required", "Which link is followed.") for what in CHOOSABLE),
    *(Key(f"prefer.{what}", "talker", "text", '""', "And which talker on it.") for what in CHOOSABLE),
    Key("screen", "length_unit", "choice", "metres", "Unit of the boat's own lengths.", choices=LENGTH_UNITS),
)
_SAYS = {key.name: key.says for key in KEYS if not key.table}
_TABLES = ("prefer", "screen")
HEAD = (
    "What `moonless helm` uses when it is started without links; docs/connect.md tells of it.",
    "Written by the set-up screen, and yours to edit: your comments stay.",
)


@dataclass(frozen=True, slots=True)
class HelmSettings:
    """The file, whole; ``boat`` and ``charts`` as written, see `resolved`."""

    boat: str | None = None
    charts: tuple[str, ...] = ()
    radar: str | None = None
    nmea: tuple[str, ...] = ()
    prefer: Mapping[str, tuple[str, str]] = field(default_factory=dict)  # thing -> (link, talker)
    length_unit: LengthUnit = "metres"
    tides: tuple[str, ...] = ()

    @property
    def has_links(self) -> bool:
        """Return whether there is anything to watch."""
        return self.radar is not None or bool(self.nmea)


def resolved(path: Path, written: str) -> Path:
    """Return a path of the file: from the folder it lies in, ``~`` for home."""
    return path.parent / os.path.expanduser(written)  # as it is where there is no such user


def read_settings(path: Path) -> HelmSettings:
    """Return what a helm.toml says.

    Raises TableError in one plain line: not TOML, a key that is not known (the nearest is named), a bad value.
    """
    return _settings(path, parse(path))


def _settings(path: Path, found: Mapping[str, object]) -> HelmSettings:
    reader = TableReader(path, KEYS, "helm.toml")
    top = reader.table("", found)
    links = [("radar", top["radar"])] if "radar" in top else []
    for key, link in (*links, *(("nmea", one) for one in top.get("nmea", ()))):
        try:
            parse_link(link)
        except InputError as problem:
            raise reader.fail(key, str(problem)) from problem
    prefer = {what: (one["link"], one.get("talker", "")) for what, one in top.get("prefer", {}).items()}
    return HelmSettings(
        top.get("boat"), top.get("charts", ()), top.get("radar"), top.get("nmea", ()), prefer,
        top.get("screen", {}).get("length_unit", "metres"), top.get("tides", ()),
    )  # fmt: skip


def write_settings(path: Path, settings: HelmSettings) -> None:
    """Put the settings in the file; what a person wrote beside them stays.

    Raises
    ------
    TableError  If the file is there and is not one that could be read; it is left alone.
    InputError  If it cannot be written.
    """
    is_new = not path.exists()
    document = editable(path, HEAD)
    if is_new:
        document.add(tomlkit.nl())
    _settings(path, document.unwrap())
    values = {
        "boat": settings.boat,
        "charts": list(settings.charts) or None,
        "radar": settings.radar,
        "nmea": list(settings.nmea) or None,
        "tides": list(settings.tides) or None,
    }
    for key, value in values.items():
        _put(document, key, value, _SAYS[key])
    prefer = {w: {"link": link, "talker": talker} for w, (link, talker) in settings.prefer.items()}
    _put_table(document, "prefer", prefer)
    is_plain = settings.length_unit == "metres" and "screen" not in document
    _put_table(document, "screen", {} if is_plain else {"length_unit": settings.length_unit})
    if _settings(path, document.unwrap()) != settings:
        raise TableError(path, "", "could not be changed without changing what else it says; edit it by hand")
    write_whole(path, tomlkit.dumps(document), make_folders=True, private=True)


def _put(document: tomlkit.TOMLDocument, key: str, value: object, says: str) -> None:
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
    tables = [(name, document[name]) for name in _TABLES if name in document]
    for name, _ in tables:
        document.remove(name)
    document.add(key, item)
    for name, table in tables:
        document.add(name, table)


def _put_table(document: tomlkit.TOMLDocument, name: str, values: Mapping[str, object]) -> None:
    if name not in document:
        if not values:
            return
        table = tomlkit.table()
        table.comment(_SAYS[name])
        document.add(tomlkit.nl())
        document.add(name, table)
    table = cast(tomlkit.items.Table, document[name])
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
