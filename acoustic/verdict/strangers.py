"""How lines that nobody in the layout makes usually lie."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Strangers:
    """How lines that nobody in the layout makes usually lie.

    Attributes
    ----------
    first_rate : float
        Unexplained lines per e-fold of order before a recording has shown its own rate.
    crowd_width : float
        Over how many e-folds that rate is told by the lines found (sd).
    most_rate : float
        A recording cannot show a higher rate.
    comb_step : float
        Side lines lie at one spacing about the multiples of this order.
    near_comb_rate, near_comb_order : float
        Further unexplained lines per e-fold close to the engine's own, and how close: an
        idle that hunts gives each engine line side lines.
    long_cycle_share : float
        Chance of a line at each third and quarter of an order.
    """

    first_rate: float = 0.3
    crowd_width: float = 0.3
    most_rate: float = 10.0
    comb_step: float = 1.0
    near_comb_rate: float = 0.0
    near_comb_order: float = 0.08
    long_cycle_share: float = 0.0


def envelope_strangers(order_step: float) -> Strangers:
    """Strangers among the lines of the envelope.

    0.15 lone ones per e-fold were counted on 17 ordinary engines recorded with a phone,
    most of them on a few.
    """
    return Strangers(
        0.3, crowd_width=2.0, comb_step=order_step, near_comb_rate=1.0, long_cycle_share=0.3
    )
