"""The truth about a scene as CSV text, one row per line or sound in bands."""

from __future__ import annotations

import csv
import io

from acoustic.synthetic.truth import RecordingTruth, SceneTruth, TrueBandSound

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
    "shows_as",
    "level_in_band_db",
    "bands_hz",
)


def render_truth_table(truth: SceneTruth) -> str:
    """Render every sounding line of every recording by frequency, then what lies in bands."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for recording in truth.recordings:
        writer.writerows(_rows(recording))
        writer.writerows(_band_row(recording, sound) for sound in recording.in_band)
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
            "tones",
            "",
            "",
        )
        for line in sorted(truth.lines, key=lambda line: line.frequency_hz)
    ]


def _band_row(truth: RecordingTruth, sound: TrueBandSound) -> tuple[str, ...]:
    """One row; what is told of tones only stays empty."""
    return (
        truth.condition.name,
        f"{truth.speed.mean_rpm:.1f}",
        sound.part,
        sound.mechanism,
        sound.label,
        "fault",
        "no",
        _figure(sound.order, 5),
        _figure(sound.nominal_order, 5),
        _figure(sound.rate_hz, 2),
        *("",) * 4,
        sound.shows_as,
        f"{sound.level_db:.1f}",
        " ".join(f"{low:.0f}-{high:.0f}" for low, high in sound.bands_hz),
    )


def _figure(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"


def _yes(value: bool) -> str:
    return "yes" if value else "no"
