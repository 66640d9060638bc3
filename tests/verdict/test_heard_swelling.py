"""Swelling whose part cannot be named is told all the same, and never as a tone.

On the library bus: pump, idler and fan on one belt, whose slip is up to 3 %.
"""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.expected import expected_families
from acoustic.evidence.findings import EnvelopeBand, EnvelopeSpectrum, NoiseFinding, SwellingLine
from acoustic.evidence.swelling import find_swelling
from acoustic.evidence.tones import find_tones
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.decision import Decision, decide
from acoustic.verdict.heard_swelling import rough_turning
from acoustic.verdict.joint_match import match_drive
from acoustic.verdict.suspects import Heard, Suspect

SPEED_HZ = 31.7
SLIP = 0.012


def _line(order: float, bands: int = 5, excess_db: float = 14.0, p_value: float = 1e-9):
    return SwellingLine(
        order, 0.0005, order * SPEED_HZ, excess_db, p_value, 1.0, 900.0, 1300.0, bands
    )


def _heard(*swelling: SwellingLine) -> Heard:
    speed = SpeedTrace(np.array([0.0]), np.array([SPEED_HZ]), "given", 0.0)
    recording = Recording(np.zeros(8, dtype=np.float32), 8000.0, name="clip")
    stretches = Stretches((Stretch(0.0, 20.0),), ())
    return Heard(recording, speed, stretches, (), None, (), swelling=swelling)


def _suspects(**faulty: float) -> tuple[Suspect, ...]:
    return tuple(
        Suspect(part, "", (), chance, chance, (), (), (), "", "", "", ())
        for part, chance in faulty.items()
    )


UNSURE = {"idler": 0.3, "pump": 0.2, "fan": 0.01}


@pytest.fixture(scope="module")
def families(bus):
    """All families of the bus's drive."""
    return expected_families(bus)


@pytest.fixture(scope="module")
def told(bus, families):
    """The growl told of given lines, with given probabilities of being faulty."""

    def tell(*swelling: SwellingLine, faulty: dict[str, float] = UNSURE):
        return rough_turning(bus, families, {0: _heard(*swelling)}, _suspects(**faulty))

    return tell


def _once_a_turn(families, part: str, slip: float = SLIP) -> float:
    (order,) = {
        line.order
        for family in families
        for line in family.lines
        if family.part == part and line.label == "roughness once a turn"
    }
    return order * float(np.exp(-slip))


def test_a_growl_at_a_shafts_speed_names_what_turns_so(told, families) -> None:
    """The idler's turn by the belt's rule less 1.2 % of slip: a growl, its figures, who fits."""
    order = _once_a_turn(families, "idler")
    (growl,) = told(_line(order))
    assert (growl.noise, growl.recording, growl.parts[0]) == ("roughness", 0, "idler")
    assert "growl" in growl.sentence and "rough" in growl.sentence
    assert f"order {order:.3f}" in growl.sentence
    assert f"{order * SPEED_HZ:.1f} times a second" in growl.sentence
    assert "900 to 1300 Hz" in growl.sentence and "in 5 of" in growl.sentence
    assert "idler (roughness once a turn)" in growl.sentence


def test_a_part_much_less_likely_is_not_in_question(told, families) -> None:
    """The pump's second harmonic lies there, too; at a thirtieth of the chance it is not told."""
    order = _once_a_turn(families, "idler", slip=0.0)
    (both,) = told(_line(order))
    assert set(both.parts) == {"idler", "pump"}
    (alone,) = told(_line(order), faulty={"idler": 0.3, "pump": 0.01, "fan": 0.01})
    assert alone.parts == ("idler",)


def test_no_growl_is_told_where_a_part_is_named(told, families) -> None:
    """From one half up the part itself is the answer."""
    line = _line(_once_a_turn(families, "idler"))
    assert told(line, faulty={"idler": 0.5, "pump": 0.0, "fan": 0.0}) == ()
    assert told(line, faulty={"idler": 0.49, "pump": 0.0, "fan": 0.0}) != ()


def test_one_band_or_no_shaft_is_no_growl(told, families) -> None:
    """A single resonance, an order between all shafts', and a third of an order are not."""
    order = _once_a_turn(families, "idler")
    assert told(_line(order, bands=2)) == ()
    assert told(_line(1.9)) == ()
    assert told(_line(4.0 / 3.0)) == ()
    assert told(_line(1.335)) != ()


def test_the_chance_of_it_is_the_most_it_speaks(told, families) -> None:
    """-e p ln p of p = 0.01 is 0.125: ln 8 nats (Sellke, Bayarri, Berger 2001: 0.125)."""
    (growl,) = told(_line(_once_a_turn(families, "idler"), p_value=0.01))
    assert growl.ln_ratio == pytest.approx(np.log(8.0), abs=0.01)


@pytest.fixture(scope="module")
def decision_on(bus, families, heard_of, spectrum_of, settings):
    """The decision on a recording without tones whose loudness swells as given."""

    def decided(swells: dict[float, float], noises: tuple[NoiseFinding, ...] = ()) -> Decision:
        bands = spectrum_of(swells, SPEED_HZ, seed=3).bands[:2]
        limits = ((900.0, 1300.0), (1100.0, 1600.0), (1300.0, 1900.0), (900.0, 1900.0))
        carriers = tuple(EnvelopeBand(low, high, bands) for low, high in limits)
        envelope = EnvelopeSpectrum(carriers, SPEED_HZ, 0.5)
        orders = replace(heard_of({}, SPEED_HZ), envelope=envelope, noises=noises)
        speed = _heard().speed
        tones = find_tones(orders.spectrum, orders.comb, None, speed)
        heard = replace(
            _heard(*find_swelling(envelope)),
            spectrum=orders.spectrum, envelope=envelope, tones=tones, noises=noises,
        )  # fmt: skip
        answer = match_drive(bus, families, [orders], settings)
        return decide(bus, families, {0: heard}, answer, bus.knowledge)

    return decided


def test_swelling_nobody_makes_is_listed_and_is_something(decision_on) -> None:
    """Order 5.37: no tone, nobody's; but "nothing found" would be wrong."""
    decision = decision_on({5.37: 3.0})
    (found,) = decision.swelling
    assert abs(found.line.order - 5.37) < 3 * found.line.order_sd
    assert decision.unexplained == ()
    assert decision.verdict == "cannot_tell"
    assert "swells" in decision.headline and "no tone" in decision.headline
    assert "swelling at 1 order" in decision.reasons[0]


def test_a_parts_own_swelling_is_not_listed(decision_on, families) -> None:
    """All lines of the idler's rough bearing: it is named, and none of them is nobody's."""
    (rough,) = [f for f in families if (f.part, f.mechanism) == ("idler", "rough bearing")]
    decision = decision_on(
        {line.order * np.exp(-SLIP): 6.0 + line.relative_level_db for line in rough.lines}
    )
    assert decision.suspects[0].part == "idler"
    assert decision.suspects[0].probability > 0.5
    assert decision.swelling == ()
    assert all(noise.noise != "roughness" for noise in decision.noises)


def test_a_growl_goes_behind_a_noise_that_was_weighed(decision_on, families) -> None:
    """Its nats are the most it can speak; those of knocks with the firing were fitted."""
    words = "200 knocks in 20 s, in step with the firings"
    knocks = NoiseFinding("impacts with firing", 3.0, 6.0, 3000.0, 6000.0, 1.0, words)
    faint = {_once_a_turn(families, "idler") * 3.0: 1.0}
    growl, told = decision_on(faint), decision_on(faint, (knocks,))
    assert [noise.noise for noise in growl.noises] == ["roughness"]
    assert growl.verdict == "cannot_tell" and "growl" in growl.headline
    assert [noise.noise for noise in told.noises] == ["impacts with firing", "roughness"]
    assert "200 knocks" in told.headline


def test_a_silent_envelope_finds_nothing(decision_on) -> None:
    """Without swelling the verdict is what it was."""
    decision = decision_on({})
    assert decision.verdict == "nothing_found"
    assert (decision.swelling, decision.noises) == ((), ())


@pytest.mark.parametrize(("order", "near"), [(7.0 / 3.0, "third"), (6.6, "idler"), (5.37, "")])
def test_the_remark_says_what_lies_near(decision_on, order, near) -> None:
    """A third of an order, a part's line, nothing at all."""
    (found,) = decision_on({order: 3.0}).swelling
    assert near in found.remark if near else found.remark == ""
