"""``moonless lights``: the lights this boat must show, and what a set of lights seen can be."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import cast

import click

from moonless.errors import InputError
from moonless.files import write_whole
from moonless.rules.drawing import plan_svg, seen_from
from moonless.rules.fitted import Finding, Fitted, check, fitted_from_tables
from moonless.rules.lights import KINDS, Kind, Light, Vessel, required
from moonless.rules.recognise import parse_seen, recognise

_NOTE = "In our own words; the Collision Regulations themselves and local rules hold."


@click.command(
    epilog='Examples:  moonless lights --length 9.2 --kind power    |    moonless lights --seen "red over white, green"'
)
@click.option("--seen", metavar="TEXT", help='Lights seen, groups by comma: "red over white, masthead, green".')
@click.option("--length", "length_m", type=float, metavar="METRES", help="Length overall.")
@click.option("--kind", type=click.Choice(KINDS), default="power", show_default=True, help="What she is or does.")
@click.option("--speed", "max_speed_kn", type=float, metavar="KNOTS", help="The most she can do.")
@click.option("--stopped", is_flag=True, help="Under way but not making way.")
@click.option("--tow", "tow_m", type=float, default=0.0, metavar="METRES", help="Length of the tow.")
@click.option("--gear", "gear_m", type=float, default=0.0, metavar="METRES", help="Outlying fishing gear.")
@click.option("--inland", is_flag=True, help="US inland rules where they differ.")
@click.option("--boat", "boat_file", type=click.Path(path_type=Path), help="Boat file: its length and fitted lights.")
@click.option("--from", "bearing_deg", type=float, metavar="DEG", help="Say what shows to this bearing from the bow.")
@click.option("--svg", type=click.Path(path_type=Path), help="Draw the plan of arcs into this file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    seen: str | None,
    length_m: float | None,
    kind: str,
    max_speed_kn: float | None,
    stopped: bool,
    tow_m: float,
    gear_m: float,
    inland: bool,
    boat_file: Path | None,
    bearing_deg: float | None,
    svg: Path | None,
    as_json: bool,
) -> None:
    """Say which lights a vessel must show, check the boat's own, or tell what lights seen can be."""
    if seen is not None:
        if length_m is not None or boat_file is not None:
            raise InputError("--seen asks what others are; it does not go with --length or --boat")
        _tell_seen(seen, inland, as_json)
        return
    fitted: tuple[Fitted, ...] = ()
    if boat_file is not None:
        from moonless.boat.file import read_boat

        boat = read_boat(boat_file)
        length_m = boat.length_m if length_m is None else length_m
        fitted = fitted_from_tables(boat.fitted_lights)
    if length_m is None:
        raise InputError("give --length METRES, or --boat boat.toml, or --seen TEXT")
    vessel = Vessel(
        cast(Kind, kind), length_m, max_speed_kn, making_way=not stopped, inland=inland, tow_m=tow_m, gear_m=gear_m
    )
    outfits = required(vessel)
    findings: tuple[Finding, ...] = check(vessel, fitted)[1] if fitted else ()
    if svg is not None:
        write_whole(svg, plan_svg(outfits[0].lights, f"Lights of a {length_m:g} m vessel, {kind}"))
    if as_json:
        out = {
            "outfits": [
                {"name": o.name, "note": o.note, "lights": [_light_dict(x) for x in o.lights]} for o in outfits
            ],
            "findings": [{"rule": f.rule, "say": f.say} for f in findings],
            "note": _NOTE,
        }
        click.echo(json.dumps(out))
        return
    for number, outfit in enumerate(outfits):
        click.echo(f"{'Or: ' if number else ''}{outfit.name}" + (f"  ({outfit.note})" if outfit.note else ""))
        lights = outfit.lights if bearing_deg is None else seen_from(outfit.lights, bearing_deg)
        if bearing_deg is not None:
            click.echo(f"  seen from {bearing_deg % 360:05.1f}° off the bow:" + ("" if lights else " nothing"))
        for light in lights:
            click.echo(f"  {_words(light)}")
        if not outfit.lights:
            click.echo("  no lights required")
    if boat_file is not None:
        click.echo()
        if not fitted:
            click.echo("The boat file lists no fitted lights ([[light]] tables); nothing was checked.")
        for finding in findings:
            click.echo(f"Check: {finding.say} (Rule {finding.rule})")
        if fitted and not findings:
            click.echo("Nothing measured disagrees; what is not in the boat file was not checked.")
    click.echo(f"\n{_NOTE}")


def _arc(light: Light) -> str:
    start, end = light.arc_deg
    return "all round" if (start, end) == (0.0, 360.0) else f"{start:05.1f}° to {end:05.1f}°"


def _words(light: Light) -> str:
    may = " (may be shown)" if light.optional else ""
    return (
        f"{light.colour:<6} {light.role:<10} {_arc(light):<18} {light.range_nm:g} NM   "
        f"{light.where}   Rule {light.rule}{may}"
    )


def _light_dict(light: Light) -> dict[str, object]:
    return {
        "role": light.role,
        "colour": light.colour,
        "arc_deg": list(light.arc_deg),
        "range_nm": light.range_nm,
        "rule": light.rule,
        "where": light.where,
        "optional": light.optional,
    }


def _tell_seen(text: str, inland: bool, as_json: bool) -> None:
    found = recognise(parse_seen(text), inland=inland)
    if as_json:
        rows = [replace(c, share=round(c.share, 3)) for c in found]
        keys = ("name", "kind", "aspect", "rule", "share", "unseen", "meaning")
        click.echo(json.dumps([{k: getattr(c, k) for k in keys} for c in rows]))
        return
    if not found:
        click.echo("No vessel of the rules shows these lights together from one side.")
        click.echo("It may be unlawful or faulty lights, a shore light, an aid to navigation, or two vessels in line.")
        return
    for candidate in [c for c in found if c.share >= 0.01][:8]:
        click.echo(f"{candidate.share:4.0%}  {candidate.name}, seen {candidate.aspect}  (Rule {candidate.rule})")
        if candidate.unseen:
            click.echo(f"      she would also show {', '.join(candidate.unseen)}: hidden, dim or not noticed?")
        click.echo(f"      {candidate.meaning}")
    click.echo(f"\nUntil you know, take the one that asks most of you. {_NOTE}")
