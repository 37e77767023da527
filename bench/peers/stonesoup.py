"""Stone Soup's trackers, set with care: the peers.

Common to both: nearly constant velocity with white acceleration, linear measurement of east and north, gating by
Mahalanobis distance, confirmation by `min_points` hits in the multi-measurement initiator, deletion after a number of
turns without an update.  `design/track_leave_out.py` searches for settings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

Out = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class PeerSettings:
    """One peer's tuning."""

    kind: str  # "jpda", "gnn", or "jpda lbp": the library's JPDA by loopy belief propagation
    acceleration_q: float = 0.05  # m^2/s^3
    noise_m: float = 4.0  # each axis
    speed_sigma: float = 4.0  # m/s, of a new track
    p_detect: float = 0.9
    clutter_per_m2: float = 5.0e-6
    gate: float = 4.0  # Mahalanobis distance
    min_points: int = 3
    delete_after: int = 4  # turns without an update


def run(times_s: Sequence[float], points_m: Sequence[NDArray[np.float64]], s: PeerSettings) -> Iterator[Out]:
    """Yield (ids, places, velocities) of the confirmed tracks after each turn."""
    from stonesoup.dataassociator.neighbour import GNNWith2DAssignment
    from stonesoup.dataassociator.probability import JPDA, JPDAwithLBP
    from stonesoup.deleter.time import UpdateTimeStepsDeleter
    from stonesoup.functions import gm_reduce_single
    from stonesoup.hypothesiser.distance import DistanceHypothesiser
    from stonesoup.hypothesiser.probability import PDAHypothesiser
    from stonesoup.initiator.simple import MultiMeasurementInitiator
    from stonesoup.measures import Mahalanobis
    from stonesoup.models.measurement.linear import LinearGaussian
    from stonesoup.models.transition.linear import CombinedLinearGaussianTransitionModel, ConstantVelocity
    from stonesoup.predictor.kalman import KalmanPredictor
    from stonesoup.types.array import StateVectors
    from stonesoup.types.detection import Detection
    from stonesoup.types.state import GaussianState
    from stonesoup.types.update import GaussianStateUpdate
    from stonesoup.updater.kalman import KalmanUpdater

    motion = CombinedLinearGaussianTransitionModel([ConstantVelocity(s.acceleration_q)] * 2)
    sensor = LinearGaussian(4, (0, 2), np.eye(2) * s.noise_m**2)
    predictor, updater = KalmanPredictor(motion), KalmanUpdater(sensor)
    near = DistanceHypothesiser(predictor, updater, measure=Mahalanobis(), missed_distance=s.gate)
    gnn = GNNWith2DAssignment(near)
    associator = gnn
    if s.kind != "gnn":
        associator = (JPDAwithLBP if s.kind == "jpda lbp" else JPDA)(
            PDAHypothesiser(
                predictor, updater, clutter_spatial_density=s.clutter_per_m2, prob_detect=s.p_detect,
                prob_gate=0.9997, include_all=False,
            )
        )  # fmt: skip
    begin = datetime(2000, 1, 1)
    initiator = MultiMeasurementInitiator(
        prior_state=GaussianState([[0], [0], [0], [0]], np.diag([0.0, s.speed_sigma**2, 0.0, s.speed_sigma**2]), begin),
        measurement_model=sensor, deleter=UpdateTimeStepsDeleter(2), data_associator=gnn, updater=updater,
        min_points=s.min_points,
    )  # fmt: skip
    deleter = UpdateTimeStepsDeleter(s.delete_after)
    tracks: set[object] = set()
    names: dict[str, int] = {}
    for time_s, points in zip(times_s, points_m, strict=True):
        now = begin + timedelta(seconds=float(time_s - times_s[0]))
        detections = {Detection(p.reshape(2, 1), timestamp=now, measurement_model=sensor) for p in points}
        used = set()
        if tracks:
            if s.kind == "gnn":
                for track, hypothesis in associator.associate(tracks, detections, now).items():
                    if hypothesis:
                        track.append(updater.update(hypothesis))
                        used.add(hypothesis.measurement)
                    else:
                        track.append(hypothesis.prediction)
            else:
                for track, hypotheses in associator.associate(tracks, detections, now).items():
                    states, weights = [], []
                    for hypothesis in hypotheses:
                        weights.append(float(hypothesis.probability))
                        if hypothesis:
                            states.append(updater.update(hypothesis))
                            # A plot that a track has a fair claim to begins no other.
                            if weights[-1] > 0.1:
                                used.add(hypothesis.measurement)
                        else:
                            states.append(hypothesis.prediction)
                    mean, cov = gm_reduce_single(
                        StateVectors([x.state_vector for x in states]),
                        np.stack([x.covar for x in states], axis=2), np.asarray(weights),
                    )  # fmt: skip
                    missed = next((float(h.probability) for h in hypotheses if not h), 0.0)
                    if len(hypotheses) > 1 and missed < 0.5:
                        track.append(GaussianStateUpdate(mean, cov, hypotheses, now))
                    else:
                        track.append(hypotheses[0].prediction)
        tracks -= deleter.delete_tracks(tracks)
        tracks |= initiator.initiate(detections - used, now)
        ids = [names.setdefault(t.id, len(names) + 1) for t in tracks]
        state = np.array([np.asarray(t.state_vector, dtype=float).ravel() for t in tracks]).reshape(-1, 4)
        yield np.asarray(ids, dtype=np.int64), state[:, [0, 2]], state[:, [1, 3]]
