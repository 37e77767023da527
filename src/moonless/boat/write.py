"""The boat file written: what a person has written in it stays, comments and order and all.

Rules of this file:
- Nothing is ever half-written: the new text is read back as strictly as any boat file before it takes the old one's
  place, and it takes it whole.
- A key that is new gets its sentence as a comment; a key that is there keeps the comment it has.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import tomlkit
from tomlkit.items import AoT, Comment, Item, Table

from moonless.boat.file import TABLES, boat_from_dict
from moonless.boat.keys import keys_of, tables_below
from moonless.boat.types import Boat
from moonless.errors import TableError
from moonless.files import write_whole
from moonless.tables import Values, editable

HEAD = (
    "What the boat is; docs/boat-file.md lists every key.  Written by the set-up screen, and yours to edit:",
    "your comments stay.  A key that is not here stands at its default.",
)


def write_boat(path: Path, changes: Mapping[str, object]) -> Boat:
    """Change some keys of a boat file, or make it; return the boat it now describes.

    Parameters
    ----------
    changes : by dotted key, in the file's units: ``{"radar.height_m": 3.4, "boat.stopping": [{...}]}``.  None takes a
        key away.  ``light`` and the tables below [boat] and [radar] are lists of tables, replaced as a whole.

    Raises
    ------
    TableError  If the file is there and cannot be used, or would not be a boat file afterwards; it is left alone.
    InputError  If it cannot be written.
    """
    document = editable(path, HEAD)
    for dotted, value in changes.items():
        try:
            _change(path, document, dotted, value)
        except (TypeError, ValueError) as problem:  # a value that TOML has no form for
            if isinstance(problem, TableError):
                raise
            raise TableError(path, dotted, f"{value!r} cannot be written"[:200]) from problem
    boat = boat_from_dict(document.unwrap(), path)
    write_whole(path, tomlkit.dumps(document), make_folders=True, private=True)
    return boat


def boat_values(path: Path) -> Values:
    """Return what a boat file gives, by dotted key, in the file's units; empty if there is no file.

    Raises TableError if it is there and is not TOML.
    """
    if not path.exists():
        return {}
    found: Values = {}
    for table, values in editable(path, HEAD).unwrap().items():
        if isinstance(values, dict):
            found.update({f"{table}.{name}": value for name, value in values.items()})
        else:
            found[table] = values
    return found


def _change(path: Path, document: tomlkit.TOMLDocument, dotted: str, value: object) -> None:
    table_name, _, name = dotted.partition(".")
    if table_name not in TABLES:
        raise TableError(path, dotted, f"is no table of a boat file; there are: {', '.join(TABLES)}")
    if not name:
        _set_rows(document, table_name, value)
        return
    if table_name not in document:
        if value is None:
            return
        document.add(tomlkit.nl())
        document.add(table_name, tomlkit.table())
    table = document[table_name]
    if not isinstance(table, Table):
        raise TableError(path, table_name, f"must be a table, [{table_name}]")
    if name in tables_below(table_name):
        _set_rows(table, name, value)
    elif value is None:
        if name in table:
            table.remove(name)
    elif name in table:
        # The value alone is new: where it stands, and what is said beside it, stay.
        table[name] = value
    else:
        item = tomlkit.item(value)
        key = keys_of(table_name).get(name)
        if key is not None:
            item.comment(key.says)
        _add_before_tables(table, name, item)


def _add_before_tables(table: Table, name: str, item: Item) -> None:
    """Add a key to a table, before the tables inside it: after them it would belong to the last of those."""
    inner = [(key, table[key]) for key in list(table) if isinstance(table[key], Table | AoT)]
    for key, _ in inner:
        table.remove(key)
    table.add(name, item)
    for key, one in inner:
        table.add(key, one)


def _set_rows(parent: Table | tomlkit.TOMLDocument, name: str, rows: object) -> None:
    """Replace a list of tables; None or an empty list takes it away.  Rows that stay the same stay as written."""
    before = list(parent[name]) if name in parent else []
    after_last = _remarks_after(before[-1]) if before else []
    if name in parent:
        parent.remove(name)
    if not rows:
        # What stands below the last row speaks of what follows; it is not the row's.
        for remark in after_last:
            parent.add(tomlkit.comment(remark))
        return
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise TypeError("rows are a list of tables")
    made = tomlkit.aot()
    for row in rows:
        same = next((table for table in before if table.unwrap() == dict(row)), None)
        if same is not None:
            before.remove(same)
            made.append(same)
            continue
        table = tomlkit.table()
        for key, value in row.items():
            table.add(key, value)
        made.append(table)
    last = made[-1]
    for remark in after_last:
        if remark not in _remarks_after(last):
            last.add(tomlkit.comment(remark))
    parent.add(name, made)


def _remarks_after(table: Table) -> list[str]:
    """Return the comments below the last key of a table: they are about what comes next."""
    found: list[str] = []
    for key, item in table.value.body:
        if key is not None:
            found = []
        elif isinstance(item, Comment):
            found.append(item.trivia.comment.lstrip("#").strip())
    return found
