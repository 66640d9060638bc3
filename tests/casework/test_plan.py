"""Plans of the sample layouts: every pair advised, every step with its cautions."""

from dataclasses import replace
from itertools import combinations

import pytest

from acoustic.casework.plan import MOST_STEPS, make_plan, probe_place
from acoustic.casework.plan_steps import fulfils, step_meant, still_open
from acoustic.recording.taken import Taken
from acoustic.tables.plan_words import read_plan_table
from acoustic.tables.sound_words import Complaint
from acoustic.verdict.belief import Belief

RATTLE = Complaint(["rattle"])


@pytest.fixture(scope="session")
def plan(sample):
    """Plan of each sample drive, nothing said."""
    return make_plan(sample)


def advice(plan, *names):
    """Give the advice about two parts."""
    (one,) = [pair for pair in plan.pairs if {pair.first, pair.second} == set(names)]
    return one


def test_every_pair_has_exactly_one_advice(plan):
    """As many as there are pairs of suspects, none twice."""
    told = [frozenset((pair.first, pair.second)) for pair in plan.pairs]
    assert sorted(map(sorted, told)) == sorted(
        sorted(pair) for pair in combinations(plan.suspects, 2)
    )
    assert all(pair.words for pair in plan.pairs)


def test_no_step_is_without_cautions(plan):
    """Running or not; where it runs, belts, fan, heat; where a probe is used, fixed parts."""
    table = read_plan_table()
    for step in plan.steps:
        assert table.caution["manual"].text in step.cautions
        if step.running:
            needed = ["running", "fan", "hot"] + (["probe"] if step.kind == "point" else [])
            assert {table.caution[name].text for name in needed} <= set(step.cautions)
        if step.asks_for is not None and step.asks_for.rpm != plan.idle_rpm:
            assert table.caution["held"].text in step.cautions


def test_an_engine_s_steps_name_exhaust_gas_and_chocks(front_four):
    """Whatever has the engine running."""
    table = read_plan_table()
    needed = {table.caution[name].text for name in ("exhaust", "standing", "jack")}
    running = [step for step in make_plan(front_four, RATTLE).steps if step.running]
    assert running
    assert all(needed <= set(step.cautions) for step in running)


def test_the_order_of_steps(plan):
    """Nothing running first; the place in front before any probe; idle before held there."""
    kinds = [step.kind for step in plan.steps]
    assert kinds[0] == "look"
    running = [step.running for step in plan.steps]
    assert running == sorted(running)
    assert kinds.index("idle") < kinds.index("held")
    points = [k for k, kind in enumerate(kinds) if kind == "point"]
    assert all(k > kinds.index("held") for k in points)
    assert len(plan.steps) <= MOST_STEPS
    assert [step.number for step in plan.steps] == list(range(1, len(plan.steps) + 1))


def test_the_speeds_lie_within_the_engine_s_range(sample, plan):
    """Idle within idle, the other above it and permitted."""
    low, high = sample.engine.idle_rpm
    assert low <= plan.idle_rpm <= high < plan.held_rpm <= sample.engine.working_rpm[1]


def test_a_pair_told_by_lines_says_how_long(plan):
    """Length and speed with lines and speed, a switch with a load, neither otherwise."""
    for pair in plan.pairs:
        by_lines = pair.by in ("lines", "speed")
        assert (pair.clip_s is not None) == (pair.at_rpm is not None) == by_lines
        assert (pair.switch is not None) == (pair.by == "load switch")
        held = pair.by == "speed"
        assert pair.at_rpm in ((plan.held_rpm if held else plan.idle_rpm,) if by_lines else (None,))


def test_every_point_and_switch_advised_is_in_the_plan_or_said_not_to_be(plan):
    """The pairs and the steps agree."""
    points = {step.asks_for.point for step in plan.steps if step.kind == "point"}
    loads = {load for step in plan.steps if step.asks_for for load in step.asks_for.loads}
    no_room = read_plan_table().pair["no room"]
    for pair in plan.pairs:
        if pair.by == "point":
            assert points & {pair.first, pair.second} or no_room in pair.words
        if pair.by == "load switch":
            assert pair.switch in loads or no_room in pair.words


def test_two_pumps_on_one_pulley_need_a_point(rear_six):
    """Their shaft's lines and rough bearings are the same at every speed."""
    plan = make_plan(rear_six)
    pair = advice(plan, "water pump", "steering pump")
    assert pair.by == "point"
    assert {"water pump", "steering pump"} & {
        step.asks_for.point for step in plan.steps if step.asks_for
    }


def test_two_pulleys_of_other_sizes_are_told_by_their_lines(front_four):
    """Alternator (order 2.61) and water pump (1.26) share nothing likely."""
    assert advice(make_plan(front_four), "alternator", "water pump").by == "lines"


def test_gears_on_the_crankshaft_s_orders_are_said_to_be_hidden(rear_six):
    """32 teeth meshing at order 48, and a shaft at 1.5, lie on half orders at every speed."""
    plan = make_plan(rear_six)
    assert "gears to accessory shaft" in [one.part for one in plan.hidden]
    assert "at every speed" in advice(plan, "gears to accessory shaft", "steering pump").words


def test_two_belts_have_no_place_for_a_probe(two_belts):
    """Slip and flapping sound alike, so it is left to the hands, before anything runs."""
    plan = make_plan(two_belts)
    pair = advice(plan, "belt front", "belt air conditioning")
    assert pair.by == "hand check"
    assert pair.words.startswith("Nothing in sound")
    assert "Caution:" in pair.words
    (hands,) = [step for step in plan.steps if step.kind == "hands"]
    assert "belt front" in hands.do


def test_no_probe_goes_within_a_pulley():
    """An idler's centre bolt is not asked for, a fan not at all; a pump's body is."""
    rules = read_plan_table().probe
    assert "centre bolt" not in probe_place("idler", "idler", "centre bolt", rules)
    assert probe_place("fan", "fan", "hub support", rules) is None
    assert probe_place("vane pump", "pump", "pump body", rules) == "pump body"
    assert probe_place("vane pump", "pump", None, rules) is None


def test_a_rattle_gets_its_switching_off_last(front_four):
    """And no other word does; switched off at the end of the part at idle."""
    steps = make_plan(front_four, RATTLE).steps
    assert steps[-1].kind == "switch-off"
    assert steps[-1].asks_for.switched_off_s == steps[-1].seconds
    whine = make_plan(front_four, Complaint(["whine"]))
    assert "switch-off" not in [step.kind for step in whine.steps]


def test_words_limit_the_suspects(front_four):
    """A hiss is no loose shield, which rattles; without a word all are in question."""
    assert set(make_plan(front_four).suspects) == set(front_four.parts)
    suspects = make_plan(front_four, Complaint(["hiss"])).suspects
    assert "water pump" in suspects
    assert "loose shield or bracket" not in suspects


def test_what_comes_cold_is_recorded_cold(front_four):
    """The first recording says so."""
    steps = make_plan(front_four, Complaint((), ["cold"])).steps
    first = next(step for step in steps if step.running)
    assert read_plan_table().when["cold"].text in first.do


def test_a_belief_limits_the_plan_to_what_is_still_open(front_four):
    """0.60 and 0.35 stay; 0.05, less than a fifth of the first, does not."""
    names = ("guide idler", "flat idler", "water pump")
    belief = Belief(
        parts=names,
        sets=(((0,), 0.60), ((1,), 0.35), ((2,), 0.05)),
        mechanisms=({"outer race": 1.0}, {"outer race": 1.0}, {"impeller": 1.0}),
    )
    plan = make_plan(front_four, belief=belief)
    assert plan.suspects == ("guide idler", "flat idler")
    assert len(plan.pairs) == 1


def test_a_done_recording_is_ticked_and_no_other(front_four):
    """Idle in front, read off as 815 rpm: its step is done, and the rest takes less time."""
    before = make_plan(front_four)
    after = make_plan(front_four, done=[Taken(rpm=815)])
    assert [step.kind for step in after.steps if step.done] == ["idle"]
    assert [replace(s, done=False) for s in after.steps] == list(before.steps)
    idle = next(step for step in before.steps if step.kind == "idle")
    assert after.minutes == pytest.approx(before.minutes - idle.minutes)


def test_a_whole_plan_done_leaves_only_what_needs_no_recording(plan, sample):
    """Each step is fulfilled by just what it asks for."""
    wanted = [step.asks_for for step in plan.steps if step.asks_for]
    done = make_plan(sample, done=wanted)
    assert [step.done for step in done.steps] == [s.asks_for is not None for s in done.steps]


@pytest.mark.parametrize(
    "change",
    [
        {"rpm": None}, {"rpm": 2500.0}, {"point": "alternator"}, {"loads": ("steering",)},
        {"stage": "after"}, {"switched_off_s": 12.0},
    ],
)  # fmt: skip
def test_another_recording_fulfils_nothing(front_four, change):
    """Another speed or an unknown one, point, load or stage, or one that ends switched off."""
    wanted = Taken(rpm=800)
    assert fulfils(wanted, wanted, front_four)
    assert not fulfils(replace(wanted, **change), wanted, front_four)


def test_a_phone_in_the_air_is_not_a_probe(front_four):
    """Where contact is asked for the air does not do; the other way round it does."""
    air = Taken(point="alternator", rpm=800)
    contact = replace(air, contact=True)
    assert not fulfils(air, contact, front_four)
    assert fulfils(contact, air, front_four)


def test_what_is_still_open_is_what_a_plan_with_it_ticks_off(front_four):
    """The steps once made, held against what is there, say the same as a plan made anew."""
    steps = make_plan(front_four).steps
    done = (Taken(rpm=790), Taken(point="flat idler", contact=True, rpm=810))
    anew = [s.number for s in make_plan(front_four, done=done).steps if s.asks_for and not s.done]
    left = [step.number for step in still_open(steps, done, front_four)]
    assert left == anew
    assert len(left) == sum(step.asks_for is not None for step in steps) - 2


def test_the_right_part_at_another_speed_is_known_for_what_it_was_meant(front_four):
    """It fulfils nothing, and of two steps in front the nearer speed was meant."""
    steps = make_plan(front_four).steps
    probe = Taken(point="flat idler", contact=True, rpm=2500)
    assert step_meant(probe, steps, front_four).asks_for.point == "flat idler"
    assert probe not in [step.asks_for for step in steps]
    assert len(still_open(steps, [probe], front_four)) == len(still_open(steps, [], front_four))
    assert step_meant(Taken(rpm=2500), steps, front_four).kind == "held"
    assert step_meant(Taken(rpm=950), steps, front_four).kind == "idle"
    for other in (Taken(point="alternator", rpm=800), Taken(rpm=None)):
        assert step_meant(other, steps, front_four) is None
