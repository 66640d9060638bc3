"""How the speed is heard: every figure in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CloseSearch:
    """How a speed that is roughly known is followed more closely.

    Attributes
    ----------
    window_s, hop_s : float
        Frames. [s]
    reach : float
        How far from the rough speed to look. [-]
    grid : float
        Step from speed to speed. [-]
    step_sd : float
        Usual change of speed from frame to frame. [-]
    smooth_s : float
        Standard deviation of the smoothing afterwards. [s]
    """

    window_s: float = 0.5
    hop_s: float = 0.05
    reach: float = 0.015
    grid: float = 0.001
    step_sd: float = 0.0015
    smooth_s: float = 0.05


@dataclass(frozen=True, slots=True)
class SpeedSettings:
    """Settings of hearing the speed; fitted on made scenes unless a reason is given.

    Attributes
    ----------
    rate_hz : float
        Sample rate listened at; the comb ends well below half of it. [Hz]
    top_hz : float
        Highest engine order followed. [Hz]
    wide_top_hz : float
        The same in the first search, where a wandering speed blurs high orders. [Hz]
    neighbourhood_hz : float
        Width over which a level is compared with its surroundings. [Hz]
    window_s, hop_s, grid : float
        Frames of the first search [s], and its step from speed to speed. [-]
    step_sd : float
        Usual change of speed from frame to frame. [-]
    sweep_window_s, sweep_step_sd : float
        The same for a speed that changes quickly, tried when it was lost. [s], [-]
    near, fine : CloseSearch
        The second and third search, each about the speed found before.
    lines_window_s, lines_top_hz : float
        Frames and end of the spectrum on which multiples are judged. [s], [Hz]
    lines_orders : float
        Orders of the followed speed that the range holds at least.
    least_nats : float
        Log likelihood over "no engine" below which none is heard. [nat]
    least_score, most_lost : float
        Comb score of a second below which it holds no engine (in noise 1.5 to 2.5), and
        the share of such seconds from which none is heard. [-]
    against_nats : float
        Log likelihood by which a speed outside the range asked for must be better to
        speak against that range. [nat]
    least_gap : float
        Log likelihood over the best other multiple below which no speed is told. [nat]
    sure_gap : float
        Gap from which the speed needs no checking. [nat]
    shortest_s : float
        Used sound needed. [s]
    """

    rate_hz: float = 3000.0
    top_hz: float = 1200.0
    wide_top_hz: float = 700.0
    neighbourhood_hz: float = 40.0
    window_s: float = 0.7
    hop_s: float = 0.2
    grid: float = 0.003
    step_sd: float = 0.01
    sweep_window_s: float = 0.5
    sweep_step_sd: float = 0.03
    near: CloseSearch = CloseSearch(hop_s=0.1, reach=0.06, grid=0.001, step_sd=0.007)
    fine: CloseSearch = CloseSearch()
    lines_window_s: float = 3.0
    lines_top_hz: float = 400.0
    lines_orders: float = 20.0
    least_nats: float = 15.0
    least_score: float = 3.0
    most_lost: float = 0.3
    against_nats: float = 12.0
    least_gap: float = 3.0
    sure_gap: float = 8.0
    shortest_s: float = 3.0
