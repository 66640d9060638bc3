"""Ordinary engines recorded with a phone: nobody may be accused on them.

    python tests/trial/phone_clips.py

Reads the optional shared recordings (no fault labels; taken as ordinary engines). The
layout is a plain four-cylinder front drive with pulleys of unknown size guessed within
their usual range, so that a match by chance has every opportunity.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

from acoustic.drive.layout_file import read_drive
from acoustic.evidence.tones import claimed
from acoustic.recording.audio_file import read_recording
from acoustic.screening import screen

ROOT = Path(__file__).resolve().parents[2]
CLIPS = ROOT.parent / "shared" / "data" / "engine_phone"
LAYOUT = ROOT / "samples" / "layouts" / "front_four.toml"


def main() -> int:
    """Screen every clip and print speed, verdict and the leading suspect."""
    if not CLIPS.is_dir():
        print(f"no recordings at {CLIPS.relative_to(ROOT.parent)}: nothing done")
        return 0
    drive = read_drive(LAYOUT)
    accused = right = wrong = refused = known = 0
    with (CLIPS / "MANIFEST.csv").open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["file"].endswith(".flac")]
    for row in rows:
        answer = screen([read_recording(CLIPS / row["file"])], drive)
        heard = answer.heard[0]
        rpm = heard.speed.mean_rpm if heard.speed else float("nan")
        basis = row["rpm_est_basis"].startswith("engine-cycle")
        stated = float(row["rpm_est"]) if row["rpm_est"] else float("nan")
        top = answer.suspects[0] if answer.suspects else None
        accused += top is not None and top.probability > 0.8
        if basis:
            known += 1
            right += abs(rpm / stated - 1) < 0.02
            refused += heard.speed is None
            wrong += heard.speed is not None and not abs(rpm / stated - 1) < 0.02
        lead = f"{top.part} {top.probability:.2f}/{top.source_probability:.2f}" if top else "-"
        print(
            f"{row['file']:18} {stated:6.0f} {'cycle' if basis else '     '} {rpm:7.0f}"
            f" {heard.stretches.used_s:5.1f} s {len(claimed(heard.tones)):3} tones"
            f"  {answer.verdict:16} {lead}"
        )
    print(
        f"speed within 2 % of the cycle period: {right} of {known}, wrong {wrong}, "
        f"refused {refused}; accused at P > 0.8: {accused} of {len(rows)}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
