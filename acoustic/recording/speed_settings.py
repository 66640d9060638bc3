"""How the speed is heard: every figure in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SpeedSettings:
    """Settings of hearing the speed; fitted on made scenes unless a reason is given.

    Attributes
    ----------
    rate_hz : float
        Sample rate listened at; the comb ends well below half of it. [Hz]
    top_hz : float
        Highest engine order followed. [Hz]
    neighbourhood_hz : float
        Width over which a level is compared with its surroundings. [Hz]
    window_s, hop_s, grid : float
        Frames of the first search [s], and its step from speed to speed. [-]
    step_sd : float
        Usual change of speed in 0.1 s. [-]
    fine_window_s, fine_hop_s, fine_grid, fine_step_sd : float
        The same for the second search; the change is per hop.
    fine_reach : float
        How far from the first the second search looks. [-]
    smooth_s : float
        Standard deviation of the smoothing of the finished trace. [s]
    lines_window_s, lines_low_hz, lines_top_hz : float
        Frames and range of the spectrum on which multiples are judged. [s], [Hz]
    lines_orders : float
        Orders of the followed speed that the range holds at least.
    least_nats : float
        Log likelihood over "no engine" below which none is heard. [nat]
    least_gap : float
        Log likelihood over the best other multiple below which no speed is told. [nat]
    sure_gap : float
        Gap from which the speed needs no checking. [nat]
    shortest_s : float
        Used sound needed. [s]
    """

    rate_hz: float = 3000.0
    top_hz: float = 1200.0
    neighbourhood_hz: float = 60.0
    window_s: float = 1.0
    hop_s: float = 0.2
    grid: float = 0.002
    step_sd: float = 0.004
    fine_window_s: float = 0.5
    fine_hop_s: float = 0.05
    fine_grid: float = 0.0005
    fine_step_sd: float = 0.0015
    fine_reach: float = 0.015
    smooth_s: float = 0.1
    lines_window_s: float = 3.0
    lines_low_hz: float = 20.0
    lines_top_hz: float = 400.0
    lines_orders: float = 20.0
    least_nats: float = 10.0
    least_gap: float = 2.0
    sure_gap: float = 6.0
    shortest_s: float = 3.0
