"""What a planted fault is heard by."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Drive, ExpectedFamily, ExpectedLine, ExpectedNoise
from acoustic.drive.expected import expected_families
from acoustic.errors import SettingsError
from acoustic.synthetic.planted import choose_shown, find_family, shown_by
from acoustic.synthetic.scene_settings import PlantedFault


def family(drive: Drive, *shows: str, noises: tuple[tuple[str, float], ...] = ()) -> ExpectedFamily:
    """Some family of the drive with other lines and noises."""
    lines = tuple(
        ExpectedLine(1.0 + n, kind, 0.5, 0.0, natural=False, shows_as=kind)  # type: ignore[arg-type]
        for n, kind in enumerate(shows)
    )
    made = tuple(ExpectedNoise(noise, chance) for noise, chance in noises)
    return replace(expected_families(drive)[0], lines=lines, noises=made)


def planted(shows_as: str = "") -> PlantedFault:
    """Plant at 0 dB."""
    return PlantedFault("pump", "pumping", 0.0, shows_as)


def test_left_open_it_is_tones_then_envelope_then_noise(drive: Drive) -> None:
    """The first of the three the mechanism has."""
    hiss = (("hiss", 0.5),)
    assert shown_by(planted(), family(drive, "tones", "impacts", noises=hiss)) == ("tones",)
    assert shown_by(planted(), family(drive, "impacts", noises=hiss)) == ("impacts",)
    assert shown_by(planted(), family(drive, noises=hiss)) == ("hiss",)


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ("tones", ("tones",)),
        ("envelope", ("impacts", "bursts")),
        ("bursts", ("bursts",)),
        ("noise", ("hiss", "squeal")),
        ("squeal", ("squeal",)),
    ],
)
def test_asked_for_by_word_or_by_name(drive: Drive, asked: str, shown: tuple[str, ...]) -> None:
    """A word of the three means all of its kind; a name means that one."""
    made = family(drive, "tones", "impacts", "bursts", noises=(("hiss", 0.5), ("squeal", 0.5)))
    assert shown_by(planted(asked), made) == shown


@pytest.mark.parametrize("asked", ["noise", "roughness", "hiss", "loud"])
def test_a_way_it_does_not_show_is_refused(drive: Drive, asked: str) -> None:
    """The message says what it does show as."""
    with pytest.raises(SettingsError, match=rf"pump: pumping.*'{asked}'.*tones, envelope, impacts"):
        shown_by(planted(asked), family(drive, "tones", "impacts"))


def test_one_of_several_is_drawn_by_its_chance(drive: Drive, rng: np.random.Generator) -> None:
    """Noises of chance .6 and .2: three of four times the first; the run-on rattle beside."""
    made = family(drive, noises=(("squeal", 0.6), ("chirps", 0.2), ("run-on rattle", 0.9)))
    drawn = [choose_shown(planted(), made, rng) for _ in range(300)]
    assert all(shown[1:] == ("run-on rattle",) for shown in drawn)
    share = sum(shown[0] == "squeal" for shown in drawn) / 300
    assert share == pytest.approx(0.75, abs=0.09)


def test_unknown_part_or_mechanism_is_refused(drive: Drive) -> None:
    """The message lists what there is."""
    with pytest.raises(SettingsError, match=r"'mast'.*pump: pumping"):
        find_family(expected_families(drive), PlantedFault("mast", "pumping", 0.0))
