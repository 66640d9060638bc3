"""How long the pictures of one report take, each and all, and the report as page and as PDF.

    python tests/benchmarks/bench_report.py

The library bus of the samples at its guide idler before and after the repair and in front,
and a made clip that knocks, so that every kind of picture is drawn. All pictures of one
report should take 1.5 s at most, the first ones of a process included. Nothing here fails.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import Case
from acoustic.casework.history import History
from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import read_drive
from acoustic.errors import OutputError
from acoustic.listening import Clip
from acoustic.output import report_pictures
from acoustic.output.report_matter import CaseChange, ReportMatter
from acoustic.output.report_page import ReportSettings, render_report
from acoustic.output.report_pdf import render_pdf
from acoustic.recording.audio_file import read_recording
from acoustic.recording.taken import Taken
from acoustic.screening import screen
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings
from acoustic.verdict.change import compare
from acoustic.verdict.change_values import Change, Take, Target
from acoustic.verdict.suspects import Screening

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
IDLE_RPM, HELD_RPM = 800.0, 1700.0
LIMIT_S = 1.5


def main() -> None:
    """Screen, then time each picture twice: in a fresh process, and again."""
    drive = read_drive(SAMPLES / "layouts" / "front_four.toml")
    screening, knocking = screened(drive), screen(knocking_clip(drive), drive)
    change = compared(drive)
    pictures: dict[str, Callable[[], object]] = {
        "sound, orders, parts": lambda: report_pictures.screening_pictures(screening, drive),
        "swelling": lambda: report_pictures.swelling_picture(screening),
        "knocks": lambda: report_pictures.knock_picture(knocking, drive),
        "points": lambda: report_pictures.points_picture(screening),
        "change": lambda: report_pictures.change_picture(change),
        "drive": lambda: report_pictures.drive_picture(drive, ("guide idler",)),
    }
    for run in ("first", "again"):
        taken = {name: timed(draw) for name, draw in pictures.items()}
        each = ", ".join(f"{name} {wall_s:.2f}" for name, (wall_s, _) in taken.items())
        wall_s, cpu_s = (sum(one[k] for one in taken.values()) for k in (0, 1))
        print(f"pictures {run}: {each}; all {wall_s:.2f} s ({cpu_s:.2f} s of processor), "
              f"{LIMIT_S} s at most")  # fmt: skip
    case = Case(Path("bus"), CaseFile(title="bus", opened=date(2026, 1, 1)), drive, (), History(()))
    matter = ReportMatter(
        case, screening, datetime(2026, 1, 1, tzinfo=UTC), changes=(CaseChange(Taken(), change),)
    )
    for sounds in (False, True):
        start_s = time.perf_counter()
        page = render_report(matter, ReportSettings(sounds))
        print(f"page, sounds {sounds}: {time.perf_counter() - start_s:.2f} s, "
              f"{len(page.encode()) / 1e6:.2f} MB, 1.5 MB at most")  # fmt: skip
    paper = render_report(matter, ReportSettings(paper=True))
    start_s = time.perf_counter()
    try:
        size = len(render_pdf(paper))
    except OutputError as error:
        print(f"no PDF: {error}")
        return
    print(f"PDF from the page: {time.perf_counter() - start_s:.2f} s, {size / 1e6:.2f} MB")


def timed(draw: Callable[[], object]) -> tuple[float, float]:
    """Wall and processor time of one call. [s]

    Raises
    ------
    RuntimeError
        If nothing was drawn: then the time would mean nothing.
    """
    start_s, start_cpu_s = time.perf_counter(), time.process_time()
    if not draw():
        raise RuntimeError("a picture that was to be timed was not drawn")
    return time.perf_counter() - start_s, time.process_time() - start_cpu_s


def clips(stage: str, names: Sequence[str]) -> list[Clip]:
    """Clips at the guide idler, one take after the other."""
    folder = SAMPLES / "library_bus_case"
    return [
        Clip(
            read_recording(folder / f"{name}.opus"), rpm=IDLE_RPM,
            taken=Taken(point="guide idler", contact=True, stage=stage, take=take),
        )
        for take, name in enumerate(names, start=1)
    ]  # fmt: skip


def screened(drive: Drive) -> Screening:
    """Screen the sample case before its repair: at the guide idler and in front."""
    front = [
        Clip(read_recording(SAMPLES / "library_bus_case" / f"front_{rpm:.0f}rpm.opus"), rpm=rpm)
        for rpm in (IDLE_RPM, HELD_RPM)
    ]
    return screen([*front, *clips("before", BEFORE)], drive)


def compared(drive: Drive) -> Change:
    """Compare the sample case before and after its repair."""
    sides = (("before", BEFORE), ("after", AFTER))
    before, after = (
        [Take(one.taken, one) for one in screen(clips(*side), drive).heard] for side in sides
    )
    return compare(drive, before, after, target=Target("guide idler", ("outer race",)))


def knocking_clip(drive: Drive) -> list[Clip]:
    """Make a clip of 20 s in which the timing drive knocks plainly."""
    fault = PlantedFault("engine itself", "timing drive", 6.0, "impacts with firing")
    settings = SceneSettings(
        conditions=(Condition(rpm=IDLE_RPM, duration_s=20.0),), faults=(fault,)
    )
    scene = make_scene(drive, settings, np.random.default_rng(3))
    return [Clip(scene.recordings[0], IDLE_RPM)]


BEFORE = tuple(f"guide-idler_800rpm_contact{take}" for take in ("", "_take2", "_take3"))
AFTER = tuple(f"guide-idler_800rpm_contact_after{take}" for take in ("", "_take2", "_take3"))

if __name__ == "__main__":
    main()
