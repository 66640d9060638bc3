"""``acoustic case screen, next, plan, check, close, record``: what a case says and what to do."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import TO_PIPE, require_json_place
from acoustic.cli.progress import shown_progress
from acoustic.cli.screen_command import (
    EXIT_SCREENED,
    EXIT_UNFIT,
    print_answer,
    save_json,
    save_picture,
)
from acoustic.errors import AcousticError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case
    from acoustic.casework.history import CheckDone, Outcome
    from acoustic.casework.track_record import TrackRecord
    from acoustic.recording.taken import Stage
    from acoustic.verdict.belief import Belief


@dataclass(frozen=True, slots=True)
class CaseScreenRequest:
    """Everything typed after ``acoustic case screen``."""

    folder: Path
    after: bool = False
    json_file: Path | None = None
    picture: Path | None = None
    points_picture: Path | None = None


def run_case_screen(request: CaseScreenRequest, time: datetime) -> int:
    """Screen all recordings of a case together, keep the answer, print it with the next steps."""
    from acoustic.casework.case_answer import read_and_screen
    from acoustic.casework.case_choice import case_screen_settings
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.case_writes import write_screening
    from acoustic.casework.history import screening_made
    from acoustic.output.json_report import render_json, screening_to_dict
    from acoustic.output.whole_file import require_picture_place

    require_json_place(request.json_file)
    for picture in (request.picture, request.points_picture):
        if picture is not None:
            require_picture_place(picture)
    case = read_case(request.folder)
    settings = case_screen_settings(os.cpu_count() or 1)
    stage: Stage = "after" if request.after else "before"
    with shown_progress() as say:
        screening = read_and_screen(case, settings, stage=stage, progress=say)
        event = None
        if not request.after:
            answer = render_json(screening_to_dict(screening))
            event = write_screening(
                case.folder, answer, screening_made(screening, case.layout_sha256), time
            )
        if request.picture is not None:
            save_picture(screening, case.drive, request.picture)
        if request.points_picture is not None:
            from acoustic.output.picture import write_picture
            from acoustic.output.points_picture import draw_points

            write_picture(draw_points(screening), request.points_picture)
    if request.json_file is not None:
        save_json(screening, request.json_file)
    if request.json_file != TO_PIPE:
        print_answer(screening)
        if event is not None:
            sys.stdout.write(f"\nKept as number {event.id}.")
            sys.stdout.write(f" Next: acoustic case next {case.folder}\n")
    return EXIT_UNFIT if screening.verdict == "recording_unfit" else EXIT_SCREENED


def run_next(folder: Path, own_record: Path | None, width: int) -> int:
    """Say what to record still, which hand checks settle most, and what to open or order.

    With `own_record`, a folder of cases, the odds are corrected by what was found in those.
    """
    from acoustic.casework.case_answer import (
        believed_after_checks,
        changed_words,
        checks_done,
        read_belief,
    )
    from acoustic.casework.case_choice import choice_of
    from acoustic.casework.case_folder import read_case
    from acoustic.output.checks_text import render_checks, render_choice
    from acoustic.output.wording import wrapped

    case = read_case(folder)
    belief = read_belief(case)
    sys.stdout.write(_closed(case))
    if belief is None:
        sys.stdout.write(_still_to_record(case, None, width))
        return 0
    if changed := wrapped(changed_words(case), width, "", "  "):
        sys.stdout.write("\n".join(changed) + "\n\n")
    if own_record is not None:
        belief = _by_own_record(case, belief, own_record)
    belief = believed_after_checks(case, belief)
    done = checks_done(case)
    ranked, choice = choice_of(case, belief, done)
    if done:
        sys.stdout.write(_standing(belief, len(done)))
    sys.stdout.write(render_checks(ranked, choice, width, most=4, case_folder=str(folder)) + "\n")
    sys.stdout.write(render_choice(choice, width) + "\n")
    sys.stdout.write(_still_to_record(case, belief, width))
    return 0


def run_case_plan(folder: Path, page: Path | None) -> int:
    """Print the plan of recordings of a case, with what is done ticked off."""
    from acoustic.casework.case_answer import believed_after_checks, read_belief
    from acoustic.casework.case_choice import plan_of
    from acoustic.casework.case_folder import read_case
    from acoustic.output.plan_page import render_plan_page
    from acoustic.output.plan_text import render_plan
    from acoustic.output.whole_file import require_writable, write_text_whole

    if page is not None:
        require_writable(page, "--page")
    case = read_case(folder)
    belief = read_belief(case)
    if belief is not None:
        belief = believed_after_checks(case, belief)
    plan = plan_of(case, belief)
    if page is not None:
        write_text_whole(page, render_plan_page(plan))
    sys.stdout.write(render_plan(plan))
    if page is not None:
        sys.stdout.write(f"\nWritten: {page}\n")
    return 0


def run_check(folder: Path, done: CheckDone, time: datetime) -> int:
    """Enter the result of a hand check; say what it changes.

    Raises
    ------
    CaseError
        If no screening told anything yet, or the check, part or result is not known.
    """
    from acoustic.casework.check_entry import write_check

    entered = write_check(folder, done, time)
    again = " It counts in place of the same check made before." if entered.repeated else ""
    number, moved = entered.event.id, _moved(entered.before, entered.after)
    sys.stdout.write(f"Entered as number {number}.{again}\n{moved}")
    sys.stdout.write(f"{entered.choice.stop.sentence}\nNext: acoustic case next {folder}\n")
    return 0


def run_case_change(folder: Path, json_file: Path | None, picture: Path | None, width: int) -> int:
    """Say what the repair changed, for the way of recording of which there are most takes."""
    from acoustic.casework.case_change import comparable_pairs, read_and_compare
    from acoustic.casework.case_folder import read_case
    from acoustic.cli.change_command import save_change
    from acoustic.output.change_text import render_change
    from acoustic.output.points_text import taken_text
    from acoustic.output.whole_file import require_picture_place

    require_json_place(json_file)
    if picture is not None:
        require_picture_place(picture)
    case = read_case(folder)
    pairs = comparable_pairs(case)
    with shown_progress() as say:
        change = read_and_compare(case, pairs[0], say)
    if json_file == TO_PIPE:
        save_change(change, json_file, picture)
        return 0
    sys.stdout.write(f"Compared: {taken_text(pairs[0].taken, pairs[0].taken.rpm)}; ")
    sys.stdout.write(f"{len(pairs[0].before)} before, {len(pairs[0].after)} after.\n\n")
    sys.stdout.write(render_change(change, width))
    for pair in pairs[1:]:
        with shown_progress() as say:
            other = read_and_compare(case, pair, say)
        told = f"Also {taken_text(pair.taken, pair.taken.rpm)}: {other.headline}"
        sys.stdout.write(f"\n{told}\n")
    save_change(change, json_file, picture)
    return 0


def run_close(folder: Path, outcome: Outcome, time: datetime) -> int:
    """Enter what was found when it was opened.

    Raises
    ------
    CaseError
        If the layout has no such part, the part no such mechanism, or it contradicts what is
        entered already.
    """
    from acoustic.casework.case_answer import require_new_outcome
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.case_writes import write_event

    require_new_outcome(read_case(folder), outcome)
    event = write_event(folder, outcome, time)
    sys.stdout.write(f"Entered as number {event.id}: the case is closed.\n")
    if outcome.part:
        sys.stdout.write("Was a second part faulty as well? Close again with --found for it.\n")
    sys.stdout.write(
        f"To prove the repair, record again as before: acoustic case add {folder} --after CLIP...\n"
    )
    return 0


def run_track_record(root: Path, width: int) -> int:
    """Show how often the answers were right, over the closed cases under a folder."""
    from acoustic.output.track_record_text import render_track_record

    record, left_out = _read_record(root)
    sys.stdout.write(render_track_record(record, left_out, width))
    return 0


def _read_record(root: Path, but: Path | None = None) -> tuple[TrackRecord, list[str]]:
    """Count the closed cases under a folder but one; with why others cannot be counted."""
    from acoustic.casework.case_answer import read_closed_case
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.case_index import read_cases
    from acoustic.casework.track_record import track_record

    closed, left_out = [], []
    for row in read_cases(root):
        place = root / row.folder
        if not (row.closed or row.problem) or (but is not None and place.samefile(but)):
            continue
        try:
            closed.append(read_closed_case(read_case(place)))
        except AcousticError as error:
            said = str(error)
            left_out.append(said if str(place) in said else f"{place}: {said}")
    return track_record(closed), left_out


def _by_own_record(case: Case, belief: Belief, root: Path) -> Belief:
    """Correct the odds by the closed cases under a folder, and say on how many that rests."""
    from acoustic.casework.track_record import LEAST_FOR_PRIORS, with_own_record

    record, _ = _read_record(root, but=case.folder)  # its own outcome must not speak for itself
    kinds = [case.drive.parts[part].kind for part in belief.parts]
    corrected = with_own_record(belief, kinds, record)
    if corrected == belief:
        sys.stdout.write(
            f"Closed cases under {root}, beside this one: {record.cases}, too few to correct by "
            f"(at least {LEAST_FOR_PRIORS}). The odds stay as they are.\n\n"
        )
    else:
        sys.stdout.write(f"Odds corrected by {record.cases} closed cases under {root}.\n\n")
    return corrected


def _still_to_record(case: Case, belief: Belief | None, width: int) -> str:
    from acoustic.casework.case_choice import plan_of
    from acoustic.output.wording import wrapped

    plan = plan_of(case, belief)
    missing = [step for step in plan.steps if step.asks_for is not None and not step.done]
    if not missing:
        return "RECORDINGS\n  All that the plan asks for are there.\n"
    lines = ["STILL TO RECORD"]
    for step in missing:
        lines += wrapped(f"{step.title} ({step.seconds:.0f} s)", width, "  - ", "    ")
    lines += wrapped(
        f"With cautions and reasons: acoustic case plan {case.folder}", width, "  ", "  "
    )
    return "\n".join(lines) + "\n"


def _closed(case: Case) -> str:
    from acoustic.casework.case_answer import outcomes_of

    found = [one.part or "no part of the layout to blame" for _, one in outcomes_of(case)]
    if not found:
        return ""
    return f"Closed, found: {', '.join(found)}. What follows is as it was believed before.\n\n"


def _standing(belief: Belief, done: int) -> str:
    from acoustic.verdict.wording import probability_number

    ranked = sorted(zip(belief.faulty, belief.parts, strict=True), reverse=True)[:3]
    leading = ", ".join(f"{part} {probability_number(float(p))}" for p, part in ranked)
    checks = f"{done} hand check{'s' if done > 1 else ''}"
    return f"After {checks}: {leading} (faulty).\n\n"


def _moved(before: Belief, after: Belief) -> str:
    """The parts whose odds a check moved, in a line each."""
    from acoustic.verdict.wording import probability_number

    rows = sorted(zip(after.faulty, before.faulty, after.parts, strict=True), reverse=True)
    lines = [
        f"  {part}: {probability_number(float(old))} -> {probability_number(float(new))}"
        for new, old, part in rows
        if abs(new - old) >= 0.005
    ][:5]
    return "\n".join(lines or ["  It changes no part's odds to speak of."]) + "\n"
