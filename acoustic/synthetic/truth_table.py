"""The truth about a scene as CSV text, one row per line that sounds."""

from __future__ import annotations

import csv
import io

from acoustic.synthetic.truth import RecordingTruth, SceneTruth

COLUMNS = (
    "recording",
    "mean_rpm",
    "part",
    "mechanism",
    "line",
    "role",
    "natural",
    "order",
    "nominal_order",
    "frequency_hz",
    "tone_to_noise_db",
    "on_engine_comb",
    "above_60_hz",
    "detectable",
)


def render_truth_table(truth: SceneTruth) -> str:
    """Render every sounding line of every recording, in order of frequency."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for recording in truth.recordings:
        writer.writerows(_rows(recording))
    return text.getvalue()


def _rows(truth: RecordingTruth) -> list[tuple[str, ...]]:
    return [
        (
            truth.condition.name,
            f"{truth.speed.mean_rpm:.1f}",
            line.part,
            line.mechanism,
            line.label,
            line.role,
            _yes(line.natural),
            f"{line.order:.5f}",
            f"{line.nominal_order:.5f}",
            f"{line.frequency_hz:.2f}",
            f"{line.tone_to_noise_db:.1f}",
            _yes(line.on_comb),
            _yes(line.above_phone_limit),
            _yes(line.detectable),
        )
        for line in sorted(truth.lines, key=lambda line: line.frequency_hz)
    ]


def _yes(value: bool) -> str:
    return "yes" if value else "no"
