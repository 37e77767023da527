"""The only place that reads TOML: strictly, so that a misspelt key is an error and never a silent default.

A kind of file (the boat's, the helm's, a scene's) is a list of `Key`; its reader, its errors and its manual page all
come from that list.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar, cast

from moonless.errors import InputError, TableError
from moonless.files import read_small

# Tables are written by hand.
MOST_BYTES = 2_000_000

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

T = TypeVar("T")
Values = dict[str, Any]
"""Checked values of one table by field, in the field's unit."""

Kind = Literal[
    "number", "integer", "text", "choice", "yes or no", "time",
    "place", "places", "spans", "sectors", "names", "texts", "table", "tables",
]  # fmt: skip
_WORDS: Mapping[str, str] = {
    "text": "text",
    "yes or no": "true or false",
    "time": "a date and time with its zone (2028-03-01T05:10:00Z)",
    "place": "two numbers",
    "places": "a list of pairs of numbers",
    "spans": "a list of [from, to] pairs, each ending after it begins",
    "sectors": "pairs of degrees, 0 to 360",
    "texts": "a list of texts",
    "table": "a table",
    "tables": "a list of tables",
}


_TOO_DEEP = "holds tables or lists too deep in one another"


@dataclass(frozen=True, slots=True)
class Key:
    """One key.  ``scale`` turns the file's unit into the field's; ``low`` and ``high`` are in the file's."""

    table: str  # dotted; "" for the file's own top
    name: str  # with its unit
    kind: Kind
    default: str  # as the manual prints it; "required" if there is none; a text may be empty if this is '""'
    says: str
    low: float = -math.inf
    high: float = math.inf
    scale: float = 1.0
    choices: tuple[str, ...] = ()
    field: str = ""  # of the dataclass it fills; the name where that is the same

    @property
    def range_text(self) -> str:
        """Return what is allowed, as people read it."""
        if self.kind == "choice":
            return ", ".join(f'"{c}"' for c in self.choices)
        if self.kind == "names":
            return "some of " + ", ".join(f'"{c}"' for c in self.choices)
        if self.kind in _WORDS:
            return _WORDS[self.kind]
        return f"{self.low:.12g} to {self.high:.12g}"


def parse(path: Path) -> Mapping[str, object]:
    """Return a TOML file as it stands.  Raises TableError in one line if it cannot be read or is not TOML."""
    try:
        return tomllib.loads(read_small(path, MOST_BYTES).decode("utf-8"))
    except InputError as problem:
        raise TableError(path, "", str(problem).partition(": ")[2]) from problem
    except RecursionError as problem:
        raise TableError(path, "", _TOO_DEEP) from problem
    except tomllib.TOMLDecodeError as problem:
        raise TableError(path, "", f"is not TOML: {problem}") from problem
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "is not UTF-8 text"
        raise TableError(path, "", f"cannot be read: {reason}") from problem


def editable(path: Path, head: Sequence[str]) -> TOMLDocument:
    """Return a TOML file to be changed, its comments and order kept; a new one with ``head`` where there is none.

    Raises TableError in one line if it is there and cannot be read or is not TOML.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    if not path.exists():
        document = tomlkit.document()
        for line in head:
            document.add(tomlkit.comment(line))
        return document
    try:
        # Read as bytes: line ends stay as they are.
        return tomlkit.parse(path.read_bytes().decode("utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "is not UTF-8 text"
        raise TableError(path, "", f"cannot be read: {reason}") from problem
    except RecursionError as problem:
        raise TableError(path, "", _TOO_DEEP) from problem
    except TOMLKitError as problem:
        raise TableError(path, "", f"is not TOML: {problem}") from problem


def _is_text(value: str) -> bool:
    # A NUL ends a file's name where it stands: what follows it would be believed and never used.
    return bool(value.strip()) and "\0" not in value


def build(of: type[T], values: Mapping[str, object]) -> T:
    """Return an object of checked values; its own defaults hold where the file is silent."""
    return cast(Callable[..., T], of)(**values)


def nearest(name: str, valid: Iterable[str]) -> str:
    """Return the end of an error's line: the nearest valid name, else all of them."""
    among = list(valid)
    close = difflib.get_close_matches(name, among, n=1, cutoff=0.4)
    return f'; did you mean "{close[0]}"?' if close else f"; there are: {', '.join(among)}"


class TableReader:
    """Checks what one file says against the keys of its kind.

    ``path`` is named in errors, ``what`` is the kind of file ("a boat file").
    Every method raises TableError in one plain line that names the key, what was read and what is allowed.
    """

    def __init__(self, path: Path | str, keys: Sequence[Key], what: str) -> None:
        self.path, self.what = path, what
        self._tables: dict[str, dict[str, Key]] = {}
        for key in keys:
            self._tables.setdefault(key.table, {})[key.name] = key

    def fail(self, key: str, problem: str) -> TableError:
        """Return the error of one key."""
        return TableError(self.path, key, problem)

    def only(self, found: Mapping[str, object], valid: Sequence[str]) -> None:
        """Refuse a table of the file's top that there is not."""
        for name in found:
            if name not in valid:
                raise self.fail(name, f"is not a table of {self.what}{nearest(name, valid)}")

    def table(self, name: str, found: object) -> Values:
        """Return the checked values of one table by field; tables inside it as tuples of such."""
        if not isinstance(found, Mapping):
            raise self.fail(name, f"must be a table, [{name}]")
        keys, below = self._tables[name], self._below(name)
        values: Values = {}
        for given, value in found.items():
            dotted = f"{name}.{given}" if name else given
            if given in keys:
                key = keys[given]
                values[key.field or key.name] = self._value(dotted, key, value)
            elif given in below:
                values[given] = self.rows(dotted, value)
            else:
                where = f"[{name}]" if name else self.what
                raise self.fail(dotted, f"is not a key of {where}{nearest(given, (*keys, *below))}")
        for key in keys.values():
            if key.default == "required" and key.name not in found:
                dotted = f"{name}.{key.name}" if name else key.name
                raise self.fail(dotted, f"is missing ({key.says.rstrip('.')}) and must be {key.range_text}")
        return values

    def rows(self, name: str, found: object) -> tuple[Values, ...]:
        """Return the checked rows of a list of tables."""
        if not isinstance(found, list) or not all(isinstance(row, Mapping) for row in found):
            raise self.fail(name, f"must be a list of tables, [[{name}]]")
        return tuple(self.table(name, row) for row in found)

    def _below(self, name: str) -> tuple[str, ...]:
        head = f"{name}."
        below = (table.removeprefix(head) for table in self._tables if name and table.startswith(head))
        return tuple(one for one in below if "." not in one)

    def _value(self, dotted: str, key: Key, value: object) -> Any:
        if key.kind in ("number", "integer"):
            return self._number(dotted, key, value)
        if key.kind == "tables":
            return self.rows(dotted, value)
        if key.kind == "table":
            return self.table(dotted, value)
        if key.kind in ("place", "places", "spans", "sectors"):
            return self._pairs(dotted, key, value)
        if key.kind in ("names", "texts"):
            return self._texts(dotted, key, value)
        if key.kind == "yes or no":
            good = isinstance(value, bool)
        elif key.kind == "time":
            good = isinstance(value, datetime) and value.tzinfo is not None
        else:
            good = isinstance(value, str) and (_is_text(value) or (key.default == '""' and not value.strip()))
        if not good:
            raise self.fail(dotted, f"{value!r} is not {'one of ' if key.choices else ''}{key.range_text}")
        if key.choices and value not in key.choices:
            raise self.fail(dotted, f"{value!r} is not one of {key.range_text}{nearest(str(value), key.choices)}")
        return value

    def _number(self, dotted: str, key: Key, value: object) -> float | int:
        # TOML's true and false are ints to Python.
        is_whole = isinstance(value, int) and not isinstance(value, bool)
        if not is_whole and not (isinstance(value, float) and key.kind == "number"):
            raise self.fail(dotted, f"{value!r} is not a {'whole ' if key.kind == 'integer' else ''}number")
        number = cast(float, value)
        if not (math.isfinite(number) and key.low <= number <= key.high):
            raise self.fail(dotted, f"{value} is out of range, allowed is {key.range_text}")
        return number if key.kind == "integer" else float(number) * key.scale

    def _texts(self, dotted: str, key: Key, value: object) -> tuple[str, ...]:
        good = isinstance(value, list) and all(isinstance(one, str) and _is_text(one) for one in value)
        if not good:
            wanted = f"a list of names: {key.range_text}" if key.choices else key.range_text
            raise self.fail(dotted, f"{value!r} is not {wanted}")
        texts = tuple(cast(list[str], value))
        for one in texts:
            if key.choices and one not in key.choices:
                raise self.fail(dotted, f"{one!r} is not one of them{nearest(one, key.choices)}")
        return texts

    def _pairs(self, dotted: str, key: Key, value: object) -> tuple[float, float] | tuple[tuple[float, float], ...]:
        low, high = (0.0, 360.0) if key.kind == "sectors" else (key.low, key.high)

        def is_pair(one: object) -> bool:
            return (
                isinstance(one, list)
                and len(one) == 2
                and all(isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in one)
                and all(low <= v <= high for v in one)
                and (key.kind != "spans" or one[0] < one[1])
            )

        listed = [value] if key.kind == "place" else value
        if not isinstance(listed, list) or not all(is_pair(one) for one in listed):
            raise self.fail(dotted, f"{value!r} is not {key.range_text}")
        pairs = tuple((float(a) * key.scale, float(b) * key.scale) for a, b in listed)
        return pairs[0] if key.kind == "place" else pairs
