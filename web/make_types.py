"""Write the TypeScript types of what the helm tells its pages, from the Python types it tells them by.

    python web/make_types.py

A test holds what is kept in `web/src` against what this makes.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

import msgspec

from moonless.helm.bodies import routes, setup, sheet
from moonless.reading import line
from moonless.reading.registration import bow_mark

SRC = Path(__file__).parent / "src"
# Objects of GeoJSON have types of their own in TypeScript.
GEOJSON = {
    "HiddenLine": "GeoJSON.FeatureCollection",
    "Polygon": "GeoJSON.Polygon",
    "Surface": "GeoJSON.Polygon | GeoJSON.MultiPolygon",
}
# Stand within those.
WITHIN = {"HiddenPartLine", "ByLine"}
# What is called otherwise on the page; of the rest "Body" and "Line" go.
CALLED = {"CallLine": "CallLine"}


class Made(NamedTuple):
    """One file: what is said at its head, words with a name, and the types it must have."""

    path: Path
    head: str
    words: Mapping[str, object]
    types: tuple[type, ...]
    imported: Mapping[str, str] = {}  # name: from where


FILES = (
    Made(
        SRC / "state" / "types.ts",
        "What the helm tells, as the page holds it. Names as they come over the wire.",
        {"Kind": line.Kind, "DistanceUnit": sheet.DistanceUnit},
        (
            sheet.HelloBody, sheet.ReadingBody, sheet.AffairsBody, sheet.CallBody, sheet.ChartPlaceBody,
            sheet.ChartDataBody, sheet.TrialBody, sheet.TimeBarBody, routes.ReplyBody,
        ),
        {"DistanceUnit": "../geo/units"},
    ),
    Made(
        SRC / "setup" / "types.ts",
        "What the set-up is told, as it comes: names as over the wire.",
        {"Form": setup.Form},
        (setup.HeardBody, setup.ToldBody, setup.FolderBody),
    ),
)  # fmt: skip


CLASSES: Mapping[str, type] = {
    name: value
    for module in (line, bow_mark, routes, setup, sheet)
    for name, value in vars(module).items()
    if isinstance(value, type)
}


def made(file: Made) -> str:
    """Return the text of one file."""
    _, parts = msgspec.json.schema_components(file.types, ref_template="{name}", schema_hook=_anything)
    words = {tuple(sorted(msgspec.json.schema(literal)["enum"])): name for name, literal in file.words.items()}
    out = [f"/** {file.head} Made by `python web/make_types.py`: change the Python it is made from. */"]
    out += [f'import type {{ {name} }} from "{place}";' for name, place in sorted(file.imported.items())]
    for name, literal in file.words.items():
        if name not in file.imported:
            union = " | ".join(f'"{word}"' for word in literal.__args__)  # type: ignore[attr-defined]
            out += ["", f"export type {name} = {union};"]
    for name, schema in parts.items():
        if name not in GEOJSON and name not in WITHIN:
            out += ["", *_interface(name, schema, words)]
    return "\n".join(out) + "\n"


def _anything(kind: type) -> dict[str, object]:
    """Return the schema of what may be anything; for no other type."""
    if kind is not object:
        raise NotImplementedError
    return {"title": "anything"}  # an empty one would be taken for none


def _called(name: str) -> str:
    return CALLED.get(name, re.sub("(Body|Line)$", "", name))


def _interface(name: str, schema: Mapping[str, object], words: Mapping[tuple[str, ...], str]) -> Iterable[str]:
    said = " ".join(str(schema.get("description", "")).replace("``", "`").split())
    if said:
        lines = textwrap.wrap(said, 112)
        yield from ([f"/** {said} */"] if len(lines) == 1 else ["/**", *(f" * {one}" for one in lines), " */"])
    yield f"export interface {_called(name)} {{"
    needed = schema.get("required", [])
    for key in CLASSES[name].__annotations__:
        value = schema["properties"][key]
        yield f"  readonly {key}{'' if key in needed else '?'}: {_type(value, words)};"
    yield "}"


def _type(schema: Mapping[str, object], words: Mapping[tuple[str, ...], str]) -> str:
    """Return a JSON schema as a type of TypeScript."""
    if "$ref" in schema:
        name = str(schema["$ref"])
        return GEOJSON.get(name) or _called(name)
    if "anyOf" in schema:
        parts = [_type(one, words) for one in schema["anyOf"]]
        return " | ".join([*(p for p in parts if p != "null"), *(p for p in parts if p == "null")])
    if "enum" in schema:
        values = schema["enum"]
        strings = [v for v in values if v is not None]
        name = words.get(tuple(sorted(strings))) or " | ".join(f'"{v}"' for v in strings)
        return name + (" | null" if None in values else "")
    match schema.get("type"):
        case "string":
            return "string"
        case "integer" | "number":
            return "number"
        case "boolean":
            return "boolean"
        case "null":
            return "null"
        case "array" if "prefixItems" in schema:
            return f"readonly [{', '.join(_type(one, words) for one in schema['prefixItems'])}]"
        case "array":
            inner = _type(schema["items"], words)
            return f"readonly ({inner})[]" if " " in inner else f"readonly {inner}[]"
        case "object":
            return f"Readonly<Record<string, {_type(schema['additionalProperties'], words)}>>"
    return "unknown"


def main() -> None:
    """Write the files."""
    for file in FILES:
        file.path.write_text(made(file), encoding="utf-8")


if __name__ == "__main__":
    main()
