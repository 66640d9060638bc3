"""The verdict: one of four, in words to act on.

On the library bus: a vane pump, an idler with a bearing and a fan on one belt.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.expected import expected_families
from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.tones import find_tones
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.decision import Decision, decide, source_probability
from acoustic.verdict.joint_match import match_drive
from acoustic.verdict.suspects import Heard

SLIP = 0.012
VERDICTS = {"suspects", "nothing_found", "cannot_tell", "recording_unfit"}


@pytest.fixture(scope="module")
def families(bus):
    """All families of the bus's drive."""
    return expected_families(bus)


@pytest.fixture(scope="module")
def lines_of(families):
    """The likelier lines of a part's mechanism at a level, as they lie at 1.2 % of slip."""

    def lines(part: str, mechanism: str, level_db: float) -> dict[float, float]:
        (family,) = [f for f in families if (f.part, f.mechanism) == (part, mechanism)]
        return {
            line.order * np.exp(-SLIP): level_db + line.relative_level_db
            for line in family.lines
            if line.probability >= 0.4
        }

    return lines


@pytest.fixture(scope="module")
def decision_on(bus, families, heard_of, settings):
    """The decision on recordings given as ({order: tone-to-noise ratio}, speed)."""

    def decided(*recordings, only=families, noises=()) -> Decision:
        orders = [
            replace(heard_of(lines, hz, seed=n + 1), noises=noises)
            for n, (lines, hz) in enumerate(recordings)
        ]
        heard = {}
        for n, (one, (_, hz)) in enumerate(zip(orders, recordings, strict=True)):
            speed = SpeedTrace(np.array([0.0]), np.array([hz]), "given", 0.0)
            tones = find_tones(one.spectrum, one.comb, None, speed)
            recording = Recording(np.zeros(8, dtype=np.float32), 8000.0, name=f"clip {n}")
            stretches = Stretches((Stretch(0.0, 20.0),), ())
            heard[n] = Heard(recording, speed, stretches, (), one.spectrum, tones, noises=noises)
        answer = match_drive(bus, only, orders, settings)
        return decide(bus, only, heard, answer, bus.knowledge)

    return decided


IDLE, HELD = 13.5, 31.7


def _mechanisms(families, part: str) -> list[str]:
    return [f.mechanism for f in families if f.part == part and f.tonal_lines]


@pytest.fixture(scope="module")
def race_decision(decision_on, lines_of):
    """The idler's bearing, plainly heard at two speeds."""
    lines = lines_of("idler", "outer race", -3.0)
    return decision_on((lines, IDLE), (lines, HELD))


@pytest.fixture(scope="module")
def silent_decision(decision_on):
    """Noise at idle."""
    return decision_on(({}, IDLE))


@pytest.fixture(scope="module")
def strange_decision(decision_on):
    """A loud tone nobody in the layout makes."""
    return decision_on(({29.27: 3.0}, IDLE))


def test_a_planted_fault_is_the_suspect(race_decision) -> None:
    """The idler first, likely, with its lines as evidence and a hand check with its caution."""
    top = race_decision.suspects[0]
    assert race_decision.verdict == "suspects"
    assert top.part == "idler"
    assert top.probability > 0.8
    assert "Likely source" in race_decision.headline and "idler" in race_decision.headline
    assert top.evidence and "Hz" in top.evidence[0]
    assert top.hand_check and top.caution
    assert top.hand_check in " ".join(race_decision.next_steps)


def test_every_part_is_there_best_first(race_decision, bus) -> None:
    """Pump, idler, fan and belt: all listed, by falling probability."""
    chances = [suspect.probability for suspect in race_decision.suspects]
    assert chances == sorted(chances, reverse=True)
    assert {"pump", "idler", "fan"} <= {suspect.part for suspect in race_decision.suspects}
    assert len({suspect.part for suspect in race_decision.suspects}) == len(chances)


def test_faulty_and_source_are_two_claims(race_decision) -> None:
    """The source claim is never below the fault claim, for any part."""
    for suspect in race_decision.suspects:
        assert 0.0 <= suspect.probability <= suspect.source_probability <= 1.0


def test_mechanisms_share_the_blame(race_decision) -> None:
    """Shares sum to 1, best first, and the best is named; a race only where it is plain."""
    for suspect in race_decision.suspects:
        shares = [share for _, share in suspect.mechanisms]
        assert sum(shares) == pytest.approx(1.0)
        assert shares == sorted(shares, reverse=True)
        best = suspect.mechanisms[0][0]
        assert suspect.mechanism in {best, "worn bearing, race not certain"}
        assert suspect.mechanism == best or "worn bearing" in best


def test_nothing_found_says_what_would_have_been(silent_decision) -> None:
    """A level in dB, a range in Hz; no accusation and no hand check."""
    assert silent_decision.verdict == "nothing_found"
    assert silent_decision.headline.startswith("Nothing found")
    assert re.search(r"\d+ dB below the noise.*95 of 100", silent_decision.detectable)
    assert silent_decision.detectable in silent_decision.headline
    assert all(suspect.probability < 0.5 for suspect in silent_decision.suspects)
    assert silent_decision.unexplained == ()


def test_the_stated_level_is_found(decision_on, silent_decision) -> None:
    """A tone 3 dB above the level stated as found in 95 of 100 cases is found, at three orders."""
    stated = -float(re.search(r"(\d+) dB below", silent_decision.detectable).group(1))
    for order in (9.27, 23.27, 61.27):
        decision = decision_on(({order: stated + 3.0}, IDLE))
        assert decision.verdict != "nothing_found"


def test_a_strangers_tone_cannot_be_told(strange_decision) -> None:
    """It is there, it is named with its Hz, and nobody is accused of it."""
    assert strange_decision.verdict == "cannot_tell"
    assert "395.1 Hz" in strange_decision.headline
    (stray,) = strange_decision.unexplained
    assert stray.tone.order == pytest.approx(29.27, abs=0.01)
    assert stray.remark
    assert all(suspect.probability < 0.5 for suspect in strange_decision.suspects)


def test_parts_that_could_not_be_seen_are_named(decision_on, families) -> None:
    """An idler known by its run-out alone (order 8.9 at most): under 60 Hz at 250 rpm."""
    known = [f for f in families if f.part != "idler" or f.mechanism == "run-out"]
    slow = decision_on(({}, 250 / 60), only=known)
    assert "idler" in slow.unseen and "pump" not in slow.unseen
    assert any("idler" in reason and "nothing is said" in reason for reason in slow.reasons)
    assert decision_on(({}, 2400 / 60), only=known).unseen == ()


def test_two_parts_that_fit_alike_are_both_named(decision_on, families, lines_of) -> None:
    """Pump and a twin of it on the fan's shaft: either is named with the other, and why."""
    pumping = next(f for f in families if f.mechanism == "pumping")
    twin = replace(pumping, part="fan")
    only = [pumping, twin, *(f for f in families if f.part == "idler")]
    lines = lines_of("pump", "pumping", 3.0)
    decision = decision_on((lines, IDLE), (lines, HELD), only=only)
    assert decision.verdict == "suspects"
    by_name = {suspect.part: suspect for suspect in decision.suspects}
    assert by_name["pump"].not_separable_from == ("fan",)
    assert by_name["fan"].not_separable_from == ("pump",)
    assert by_name["pump"].group_reason
    told = " ".join((decision.headline, *decision.reasons))
    assert "pump" in told and "fan" in told


def test_a_second_speed_is_asked_for_only_if_there_was_none(race_decision, silent_decision) -> None:
    """One idle: record a held speed. Two speeds: not again."""
    assert any("held 2000 rpm" in step for step in silent_decision.next_steps)
    assert not any("at a held" in step for step in race_decision.next_steps)


@pytest.fixture(scope="module")
def all_decisions(
    decision_on, lines_of, families, race_decision, silent_decision, strange_decision
):
    """Those three and one for every part and mechanism at three levels."""
    more = [
        decision_on((lines_of(part, mechanism, level_db), IDLE))
        for part in ("pump", "idler", "fan")
        for mechanism in _mechanisms(families, part)
        for level_db in (-14.0, 0.0)
    ]
    return [race_decision, silent_decision, strange_decision, *more]


def _sentences(decision: Decision) -> list[str]:
    texts = [decision.headline, decision.detectable, *decision.reasons, *decision.next_steps]
    for suspect in decision.suspects:
        texts += [*suspect.evidence, *suspect.against, suspect.group_reason, suspect.hand_check]
    return texts + [stray.remark for stray in decision.unexplained]


def test_always_exactly_one_verdict(all_decisions) -> None:
    """One of the four names, whatever was heard, with at most three lines of reasons."""
    for decision in all_decisions:
        assert decision.verdict in VERDICTS
        assert decision.headline
        assert len(decision.reasons) <= 3


def test_nobody_is_called_bad_or_broken(all_decisions) -> None:
    """A part is the likely source; it is never "bad", "broken" or "defective"."""
    for decision in all_decisions:
        for text in _sentences(decision):
            assert not re.search(r"\b(bad|broken|defective|guilty)\b", text, re.IGNORECASE), text


def test_likely_is_said_only_above_four_fifths(all_decisions) -> None:
    """The headline's word agrees with the figure."""
    for decision in all_decisions:
        top = decision.suspects[0]
        if decision.headline.startswith("Likely source: "):
            assert top.probability > 0.8
        if decision.headline.startswith("Possible source"):
            assert top.probability <= 0.8
        if decision.verdict != "suspects":
            assert top.probability < 0.5


def test_source_probability_by_hand(bus, families, heard_of, settings) -> None:
    """The larger of P(faulty) and the part's share in a tone, within 0 and 1."""
    answer = match_drive(bus, families, [heard_of({})], settings)
    shares = np.zeros((len(answer.parts), 2))
    shares[0] = [0.3, 0.9]
    faulty = np.full(len(answer.parts), 0.1)
    made = replace(answer, result=replace(answer.result, tone_shares=shares, faulty=faulty))
    assert source_probability(made, 0) == pytest.approx(0.9)
    assert source_probability(made, 1) == pytest.approx(0.1)


def _ticking(ln_ratio: float) -> NoiseFinding:
    words = "200 knocks in 20 s, in step with the firings"
    return NoiseFinding("impacts with firing", ln_ratio, 6.0, 3000.0, 6000.0, 1.0, words)


def test_a_plain_noise_is_told_though_nobody_can_be_named(decision_on) -> None:
    """Knocks with the firing may be the engine's own: said, with who comes into question."""
    decision = decision_on(({}, IDLE), noises=(_ticking(3.0),))
    assert decision.verdict == "cannot_tell"
    assert "200 knocks" in decision.headline
    (noise,) = decision.noises
    assert noise.noise == "impacts with firing"
    assert noise.parts[0] == "engine itself"
    assert "engine itself" in decision.headline
    checks = {s.part: s.hand_check for s in decision.suspects if s.part in noise.parts}
    assert any(checks["engine itself"] in step for step in decision.next_steps)


def test_a_faint_noise_is_not_told(decision_on, silent_decision) -> None:
    """At one nat, e : 1, it is as likely a chance find; nothing was found then."""
    decision = decision_on(({}, IDLE), noises=(_ticking(1.0),))
    assert decision.verdict == silent_decision.verdict == "nothing_found"
    assert decision.noises == ()


def test_a_noise_is_told_beside_a_tones_suspect(decision_on, lines_of, race_decision) -> None:
    """The idler's race leads still, and the knocks that are not its own are told first."""
    lines = lines_of("idler", "outer race", -3.0)
    decision = decision_on((lines, IDLE), (lines, HELD), noises=(_ticking(3.0),))
    assert decision.suspects[0].part == race_decision.suspects[0].part == "idler"
    assert decision.reasons[0].startswith("Heard besides: knocks in step with the firing")


def test_who_cannot_be_named_may_still_be_the_first_to_check(decision_on, lines_of) -> None:
    """A faint race: not enough to name the idler, enough to say where to look first."""
    first = next(iter(sorted(lines_of("idler", "outer race", -17.0).items())))
    decision = decision_on((dict([first]), HELD))
    lead = decision.suspects[0]
    assert decision.verdict == "cannot_tell"
    assert f"First to check: {lead.part}" in decision.headline
    assert any(step.startswith(f"{lead.part}: ") for step in decision.next_steps)


def test_nobody_is_first_to_check_on_a_stranger(strange_decision) -> None:
    """A tone that fits nobody points at nobody."""
    assert strange_decision.verdict == "cannot_tell"
    assert "First to check" not in strange_decision.headline


def test_the_first_in_question_for_a_noise_has_it_as_evidence(decision_on) -> None:
    """Whoever a noise raises first, its evidence says so, however unsure it is."""
    decision = decision_on(({}, IDLE), noises=(_ticking(1.5),))
    engine = next(s for s in decision.suspects if s.part == "engine itself")
    assert engine.probability < 0.5
    assert any("200 knocks" in sentence for sentence in engine.evidence)
