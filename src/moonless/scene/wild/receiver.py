"""From power to counts: time-varied gain, the curve, the set's own threshold, few steps, saturation."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.scene.wild.types import Receiver

Floats = NDArray[np.float64]


def stc(range_m: Floats, receiver: Receiver) -> Floats:
    """Return the gain taken off near echoes, as power: the whole of it at 50 m, none from its reach on, by decibels."""
    if receiver.stc_db <= 0.0:
        return np.ones_like(range_m)
    at = np.clip(np.log(range_m / receiver.stc_reach_m) / math.log(50.0 / receiver.stc_reach_m), 0.0, 1.0)
    return np.asarray(10.0 ** (-receiver.stc_db * at / 10.0))


def level(power: NDArray[np.float32] | Floats, receiver: Receiver) -> NDArray[np.float32]:
    """Return the step of the receiver's scale, 0 to ``levels - 1``, before it is cut to whole steps."""
    zero = np.float32(10.0 ** (receiver.zero_db / 10.0))
    top = receiver.levels - 1
    p = np.maximum(np.asarray(power, dtype=np.float32), np.float32(1e-12))
    if receiver.curve == "log":
        share = np.float32(10.0 / receiver.span_db) * np.log10(p / zero)
    else:
        full = np.float32(receiver.span_db)
        root = np.sqrt(p / zero * np.float32(10.0) ** (-full / np.float32(10.0)))
        share = root if receiver.curve == "linear" else np.sqrt(root)
    out = np.clip(share * np.float32(top), 0.0, np.float32(top))
    if receiver.threshold_db is not None:
        out = np.where(p < np.float32(10.0 ** (receiver.threshold_db / 10.0)), np.float32(0.0), out)
    return np.asarray(out, dtype=np.float32)


def power_of_level(step: float, receiver: Receiver) -> float:
    """Return the least power that gives a whole step; infinite past the highest."""
    top = receiver.levels - 1
    if step > top:
        return math.inf
    zero = 10.0 ** (receiver.zero_db / 10.0)
    share = step / top
    if receiver.curve == "log":
        power = zero * 10.0 ** (share * receiver.span_db / 10.0)
    else:
        full = zero * 10.0 ** (receiver.span_db / 10.0)
        power = full * share ** (2 if receiver.curve == "linear" else 4)
    if receiver.threshold_db is not None:
        power = max(power, 10.0 ** (receiver.threshold_db / 10.0))
    return float(power)


def counts(power: NDArray[np.float32], receiver: Receiver) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return what is sent."""
    step = np.floor(level(power, receiver) + np.float32(1e-3))
    scale = np.float32(receiver.full_count / (receiver.levels - 1))
    out = np.rint(step * scale)
    if receiver.bits == 8:
        return np.asarray(out, dtype=np.uint8)
    return np.asarray(out, dtype=np.uint16)
