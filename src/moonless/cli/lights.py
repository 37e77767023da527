"""``moonless lights``: the lights this boat must show, and what a set of lights seen can be."""

from __future__ import annotations

import json
from pathlib import Path
from typing import cast, get_args

import click

from moonless.cli.parts.figures import Bounded
from moonless.errors import InputError
from moonless.files import write_whole
from moonless.rules.aids import Region
from moonless.rules.drawing import plan_svg, seen_from
from moonless.rules.fitted import Finding, Fitted, check, fitted_from_tables
from moonless.rules.lights import KINDS, Kind, Light, NetSignal, Vessel
from moonless.rules.placing import placing
from moonless.rules.recognise import Recognised, recognise
from moonless.rules.required import required
from moonless.rules.seen import parse_seen
from moonless.rules.sounds import fog_signal, signals_in_sight

_NOTE = "In our own words; the Collision Regulations themselves and local rules hold."


@click.command(
    epilog='Examples:  moonless lights --length 9.2 --kind power    |    moonless lights --seen "red over white, green"'
)
@click.option("--seen", metavar="TEXT", help='Lights seen, groups by comma: "red over white, masthead, green".')
@click.option("--length", "length_m", type=Bounded(0.1, 500.0), metavar="METRES", help="Length overall.")
@click.option("--kind", type=click.Choice(KINDS), default="power", show_default=True, help="What she is or does.")
@click.option("--speed", "max_speed_kn", type=Bounded(0.0, 100.0), metavar="KNOTS", help="The most she can do.")
@click.option("--stopped", is_flag=True, help="Under way but not making way.")
@click.option("--tow", "tow_m", type=Bounded(0.0, 5000.0), default=0.0, metavar="METRES", help="Length of the tow.")
@click.option(
    "--gear", "gear_m", type=Bounded(0.0, 5000.0), default=0.0, metavar="METRES", help="Outlying fishing gear."
)
@click.option(
    "--breadth",
    "breadth_m",
    type=Bounded(0.1, 500.0),
    default=10.0,
    metavar="METRES",
    help="Of a partly submerged tow.",
)
@click.option("--motor-sailing", is_flag=True, help="Of a sailing vessel: the engine drives her too.")
@click.option("--anchored", "at_anchor", is_flag=True, help="At anchor at her work, or on pilotage duty.")
@click.option("--tow-restricts", is_flag=True, help="The tow hardly lets her leave her course, Rule 27(c).")
@click.option("--nets", type=click.Choice(get_args(NetSignal)), help="Signal to others who fish close by, Annex II.")
@click.option("--inland", is_flag=True, help="US inland rules where they differ.")
@click.option("--region", type=click.Choice(("A", "B")), help="With --seen: IALA region of the lateral marks.")
@click.option("--sounds", is_flag=True, help="The sound signals too: in fog and in sight.")
@click.option("--boat", "boat_file", type=click.Path(path_type=Path), help="Boat file: its length and fitted lights.")
@click.option(
    "--from",
    "bearing_deg",
    type=Bounded(-360.0, 360.0),
    metavar="DEG",
    help="Say what shows to this bearing from the bow.",
)
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
    breadth_m: float,
    motor_sailing: bool,
    at_anchor: bool,
    tow_restricts: bool,
    nets: NetSignal | None,
    inland: bool,
    region: Region | None,
    sounds: bool,
    boat_file: Path | None,
    bearing_deg: float | None,
    svg: Path | None,
    as_json: bool,
) -> None:
    """Say which lights a vessel must show, check the boat's own, or tell what lights seen can be."""
    if seen is not None:
        if length_m is not None or boat_file is not None:
            raise InputError("--seen asks what others are; it does not go with --length or --boat")
        _tell_seen(seen, inland, region, as_json)
        return
    if region is not None:
        raise InputError("--region goes with --seen: it says which lateral marks hold")
    fitted: tuple[Fitted, ...] = ()
    if boat_file is not None:
        from moonless.boat.file import read_boat

        boat = read_boat(boat_file)
        length_m = boat.length_m if length_m is None else length_m
        fitted = fitted_from_tables(boat.fitted_lights)
    if length_m is None:
        raise InputError("give --length METRES, or --boat boat.toml, or --seen TEXT")
    vessel = Vessel(
        cast(Kind, kind), length_m, max_speed_kn, making_way=not stopped, inland=inland, tow_m=tow_m, gear_m=gear_m,
        breadth_m=breadth_m, under_sail_and_power=motor_sailing, at_anchor=at_anchor, tow_restricts=tow_restricts,
        net_signal=nets,
    )  # fmt: skip
    outfits = required(vessel)
    findings: tuple[Finding, ...] = check(vessel, fitted)[1] if fitted else ()
    if svg is not None:
        write_whole(svg, plan_svg(outfits[0].lights, f"Lights of a {length_m:g} m vessel, {kind}"))
    if as_json:
        out = {
            "outfits": [
                {
                    "name": o.name,
                    "note": o.note,
                    "lights": [_light_dict(x) for x in o.lights],
                    "placing": [{"rule": p.rule, "say": p.say} for p in placing(vessel, o)],
                }
                for o in outfits
            ],
            "sounds": [{"when": w, "say": s, "rule": r} for w, s, r in _sounds(vessel)],
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
        for at in placing(vessel, outfit) if bearing_deg is None else ():
            click.echo(f"    {at.say} ({at.rule})")
    if sounds:
        click.echo("\nSounds")
        for when, say, rule in _sounds(vessel):
            click.echo(f"  {when}: {say} (Rule {rule})")
    if boat_file is not None:
        click.echo()
        if not fitted:
            click.echo("The boat file lists no fitted lights ([[light]] tables); nothing was checked.")
        for finding in findings:
            click.echo(f"Check: {finding.say} (Rule {finding.rule})")
        if fitted and not findings:
            click.echo("Nothing measured disagrees; what is not in the boat file was not checked.")
    click.echo(f"\n{_NOTE}")


def _sounds(vessel: Vessel) -> list[tuple[str, str, str]]:
    fog = fog_signal("power" if vessel.under_sail_and_power else vessel.kind, vessel.length_m, vessel.making_way)
    rows = [(f"in fog, every {fog.every_s:.0f} s at the most", fog.say, fog.rule)]
    return rows + [(s.when, s.say, s.rule) for s in signals_in_sight(inland=vessel.inland)]


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


def _candidate_dict(c: Recognised) -> dict[str, object]:
    keys = ("name", "kind", "aspect", "rule", "unseen", "meaning")
    told = {key: getattr(c, key) for key in keys}
    return {**told, "share": round(c.share, 3), "alike": [_candidate_dict(x) for x in c.alike]}


def _tell_seen(text: str, inland: bool, region: Region | None, as_json: bool) -> None:
    found = recognise(parse_seen(text), inland=inland, region=region)
    if as_json:
        click.echo(json.dumps([_candidate_dict(c) for c in found]))
        return
    if not found:
        click.echo("No vessel of the rules shows these lights together from one side.")
        click.echo("It may be unlawful or faulty lights, a shore light, an aid to navigation, or two vessels in line.")
        return
    for candidate in [c for c in found if c.share >= 0.01][:8]:
        by = f"  (Rule {candidate.rule})" if candidate.rule else ""
        click.echo(f"{candidate.share:4.0%}  {candidate.name}, seen {candidate.aspect}{by}")
        if candidate.unseen:
            click.echo(f"      she would also show {', '.join(candidate.unseen)}: hidden, dim or not noticed?")
        click.echo(f"      {candidate.meaning}")
        for other in candidate.alike:
            click.echo(f"      or, by the same lights, {other.name}, seen {other.aspect}: {other.meaning}")
    click.echo(f"\nUntil you know, take the one that asks most of you. {_NOTE}")
