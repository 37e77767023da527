"""Changes that clear, and the skipper's trial, in the words and units of the public reading."""

from __future__ import annotations

import math

from moonless.boat.types import Skipper
from moonless.chart.dangers.words import depth_words, refusal_words
from moonless.frames import wrap_360
from moonless.reading.collision.clearing import Clearing
from moonless.reading.collision.skipper_trial import SkipperTrial, TriedContact, TriedDanger, TriedHidden
from moonless.reading.collision.trial import HORIZON_S, MIN_SPEED, TURNS_DEG, Tried
from moonless.reading.own import OwnPlane
from moonless.reading.trial_types import Trial, TrialChart, TrialEcho, TrialHidden
from moonless.reading.types import Change, Manoeuvres, RefusedChange
from moonless.reading.words import distance_words, time_words
from moonless.units import DistanceUnit, mps_to_kn

# A change smaller than this is not readily apparent to another vessel (Rule 8(b) gives no figure; common practice).
APPARENT_DEG = 30.0


def manoeuvres_of(clearing: Clearing | None, unit: DistanceUnit) -> Manoeuvres | None:
    """Return the changes that clear, in words; None while nothing comes inside its keep-off."""
    if clearing is None:
        return None
    turn = None if clearing.turn is None else _change(clearing, clearing.turn, unit)
    slow = None if clearing.slow is None else _change(clearing, clearing.slow, unit)
    refused = tuple(
        RefusedChange(
            float(one.turn_deg),
            _course_deg(clearing, one),
            mps_to_kn(one.speed),
            one.closest_m,
            int(one.closest_id or 0),
            str(one.refused),
        )
        for one in clearing.refused
    )
    said = [one.say for one in (turn, slow) if one is not None]
    if not said:
        most = f"No turn of up to {TURNS_DEG[-1]} degrees and no slowing"
        said = [f"{most} keeps everything off that the rules and the chart allow; stopping is one that was tried."]
        if refused:
            said.append(f"{refused[0].why}.")
    return Manoeuvres(clearing.keep_off_m, clearing.threats, turn, slow, refused, " ".join(said))


def _course_deg(clearing: Clearing, tried: Tried) -> float:
    return wrap_360(math.degrees(clearing.course_rad) + tried.turn_deg)


def _change(clearing: Clearing, tried: Tried, unit: DistanceUnit) -> Change:
    course = _course_deg(clearing, tried)
    speed = mps_to_kn(tried.speed)
    off = distance_words(tried.closest_m, unit)
    is_slight = 0.0 < abs(tried.turn_deg) < APPARENT_DEG
    if tried.turn_deg:
        side = "starboard" if tried.turn_deg > 0 else "port"
        say = f"{abs(tried.turn_deg):.0f} degrees to {side}, course {round(course) % 360:03d}: nearest {off}."
        # Section I of the steering rules: in any condition of visibility.
        if is_slight:
            say += " Rule 8(b): an alteration should be large enough to be readily apparent."
    elif tried.speed < MIN_SPEED:
        say = f"Stopped: nearest {off}."
    else:
        say = f"Slowed to {speed:.0f} knots: nearest {off}."
    return Change(float(tried.turn_deg), course, speed, tried.closest_m, int(tried.closest_id or 0), say, is_slight)


def trial_of(trial: SkipperTrial, skipper: Skipper) -> Trial:
    """Return the skipper's trial as screens read it."""
    change, unit = trial.manoeuvre, skipper.distance_unit
    own = change.own
    echoes = tuple(_echo(own, one) for one in trial.contacts)
    chart = None if trial.danger is None else _chart(own, trial.danger, unit)
    hidden = None if trial.hidden is None else _hidden(own, trial.hidden)
    refused = trial.discouraged
    if refused is None and chart is not None and trial.is_danger_in_way:
        refused = chart.say
    nearest = next((one for one in trial.contacts if not one.is_mark), None)
    end_s = change.delay_s + HORIZON_S
    return Trial(
        time_ms=trial.time_ns // 1_000_000,
        course_deg=wrap_360(math.degrees(change.course_rad)),
        speed_kn=mps_to_kn(change.speed),
        turn_deg=math.degrees(change.turn_rad),
        delay_s=change.delay_s,
        horizon_s=HORIZON_S,
        path=tuple(_lonlat(own, change.place(at_s)) for at_s in (0.0, change.delay_s, end_s)),
        keep_off_m=trial.keep_off_m,
        clears=trial.clears,
        closest_m=None if nearest is None else nearest.cpa_m,
        closest_id=None if nearest is None else nearest.id,
        echoes=echoes,
        chart=chart,
        hidden=hidden,
        refused=refused,
        say=_say(trial, unit, chart, hidden, refused),
    )


def _echo(own: OwnPlane, one: TriedContact) -> TrialEcho:
    return TrialEcho(
        id=one.id,
        cpa_m=one.cpa_m,
        tcpa_s=one.at_s,
        cpa_sigma_m=one.cpa_sigma_m,
        inside=one.is_inside,
        own=_lonlat(own, one.own_en),
        her=_lonlat(own, one.her_en),
        meeting=one.meeting,
        rules=one.rules,
        discouraged=one.discouraged,
    )


def _chart(own: OwnPlane, met: TriedDanger, unit: DistanceUnit) -> TrialChart:
    danger, (lon, lat) = met.danger, _lonlat(own, met.place_en)
    far = distance_words(met.distance_m, unit)
    say = f"{refusal_words(danger)} in {time_words(met.in_s)}, after {far}{depth_words(danger, None)}"
    return TrialChart(danger.kind, met.in_s, met.distance_m, danger.depth_m, danger.name, lat, lon, say)


def _hidden(own: OwnPlane, met: TriedHidden) -> TrialHidden:
    lon, lat = _lonlat(own, met.place_en)
    say = f"In {time_words(met.in_s)} she comes into water that is hidden now ({met.by})"
    return TrialHidden(met.by, met.in_s, met.distance_m, lat, lon, say)


def _say(
    trial: SkipperTrial, unit: DistanceUnit, chart: TrialChart | None, hidden: TrialHidden | None, refused: str | None
) -> str:
    change = trial.manoeuvre
    when = "now" if change.delay_s < 1.0 else f"in {time_words(change.delay_s)}"
    course = round(math.degrees(change.course_rad)) % 360
    what = f"Trial: course {course:03d}, {mps_to_kn(change.speed):.0f} knots, {when}."
    told = [one for one in trial.contacts if one.is_inside or not one.is_mark]
    inside = [one for one in told if one.is_inside]
    if inside:
        more = "" if len(inside) == 1 else f", and {len(inside) - 1} more come inside"
        what += f" Nearest {distance_words(inside[0].cpa_m, unit)} in {time_words(inside[0].at_s)}{more}."
    elif told:
        what += f" Nothing inside its keep-off; nearest {distance_words(told[0].cpa_m, unit)}."
    else:
        what += " No echo comes near."
    if refused is not None and (chart is None or refused != chart.say):
        what += f" {refused}."
    if chart is not None:
        what += f" {chart.say}."
    if hidden is not None:
        what += f" {hidden.say}."
    return what


def _lonlat(own: OwnPlane, place_en: tuple[float, float]) -> tuple[float, float]:
    lat, lon = own.frame.to_geographic(*place_en)
    return round(float(lon), 7), round(float(lat), 7)
