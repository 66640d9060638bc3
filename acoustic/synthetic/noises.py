"""The noises that are no families of lines, each by its id in the tables.

What such a noise is like is drawn anew for every scene and kept in all its recordings.
"""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType

import numpy as np

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.broad_noise import make_flutter, make_hiss
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.friction import make_free_chirps, make_squeal
from acoustic.synthetic.made_noise import MadeNoise, Occasion, of_this_recording
from acoustic.synthetic.rattle import make_firing_rattle, make_random_rattle, make_run_on_rattle

UNEVEN_FIRING = "uneven firing"
MAKERS = MappingProxyType[str, Callable[[Occasion], MadeNoise]](
    {
        "impacts with firing": make_firing_rattle,
        "impacts at random": make_random_rattle,
        "run-on rattle": make_run_on_rattle,
        "chirps": make_free_chirps,
        "squeal": make_squeal,
        "hiss": make_hiss,
        "flutter": make_flutter,
    }
)


def make_noise(
    drive: Drive, crank: CrankTurning, noise: str, rng: np.random.Generator
) -> MadeNoise:
    """Make a noise without lines of its own, of mean square 1 in the band it lies in.

    Parameters
    ----------
    drive : Drive
    crank : CrankTurning
    noise : str
        Id of a noise of the tables, but for uneven firing: that is no sound of its own but
        another comb and combustion noise of the engine (`Misfire`).
    rng : numpy.random.Generator
        In the same state for every recording of a scene, the noise is like itself in all
        of them, yet falls otherwise in each.

    Returns
    -------
    MadeNoise
        ``(samples, low_hz, high_hz)`` at the full rate. The engine being switched off does
        not quieten it, but for the rattle that only comes then.

    Raises
    ------
    SettingsError
        There is no such noise, or the engine is not switched off for one that comes then.
    """
    if noise == UNEVEN_FIRING:
        raise SettingsError(
            "Uneven firing is made with the engine's own sound: give make_comb and "
            "make_combustion_noise a misfire."
        )
    if noise not in MAKERS:
        raise SettingsError(f"No noise {noise!r} can be made. Use one of {', '.join(MAKERS)}.")
    return MAKERS[noise](Occasion(drive, crank, rng, of_this_recording(rng, crank)))
