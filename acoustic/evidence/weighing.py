"""From a measured figure to how far it speaks for a noise.

A noise without lines is found by one figure measured on a recording, such as a level
against the rest. How that figure is spread over recordings with and without the noise
decides what it is worth. Near the border between the two the logarithm of their ratio is
close to a straight line in the figure; slope and zero are fitted by logistic regression
with both sets given equal weight. The line ends where the recordings do: no figure is
worth more than the number of recordings without the noise can bear out.

References
----------
.. [1] J. A. Anderson, Separate sample logistic discrimination, Biometrika 59 (1972) 19-35
   (from memory): with the two sets drawn apart, the slope is unchanged and the constant
   shifts by the logarithm of the ratio of their sizes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.evidence.findings import NoiseFinding


@dataclass(frozen=True, slots=True)
class Weighing:
    """Straight line from a figure to ln p(figure | there) - ln p(figure | not there).

    Attributes
    ----------
    even : float
        The figure that says nothing.
    slope : float
        Weight per unit of the figure. [nat]
    least, most : float
        Ends of the line. [nat]
    """

    even: float
    slope: float
    least: float
    most: float

    def ln_ratio(self, figure: float) -> float:
        """How far a figure speaks for the noise. [nat]

        Examples
        --------
        >>> Weighing(even=10.0, slope=0.5, least=-2.0, most=5.0).ln_ratio(14.0)
        2.0
        """
        return float(np.clip(self.slope * (figure - self.even), self.least, self.most))


def cannot_tell(noise: str, words: str) -> NoiseFinding:
    """A noise that could not have shown: it speaks neither way."""
    return NoiseFinding(noise, 0.0, None, None, None, 0.0, words)


def not_there(noise: str, weighing: Weighing, words: str) -> NoiseFinding:
    """A noise that was looked for, and nothing like it was found."""
    return NoiseFinding(noise, weighing.least, None, None, None, 0.0, words)
