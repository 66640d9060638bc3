"""Panels of picture 1, "What did we hear?": speed, spectrogram, comb of expected lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SOUND_MAP,
    SUSPECT_COLOUR,
    draw_bare,
)
from acoustic.output.part_letters import MarkedPart
from acoustic.output.spectrogram import Spectrogram, make_spectrogram
from acoustic.verdict.suspects import Heard, LineEvidence
from acoustic.verdict.wording import times

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.image import AxesImage

SHOWN_RANGE_DB = (0.0, 25.0)
FREQUENCY_TICKS_HZ = (50, 100, 200, 500, 1000, 2000, 5000, 10000)
TRACK_HALF_WIDTH = 0.035  # relative: the two thin lines leave the sound between them free
COMB_COLUMNS = 4


def draw_speed_strip(ax: Axes, heard: Heard) -> None:
    """Engine speed over time, thin; seconds that were not used are hatched."""
    draw_bare(ax)
    ax.tick_params(bottom=False, labelbottom=False)
    ax.spines["bottom"].set_visible(False)
    if heard.speed is not None:
        time = np.linspace(0.0, heard.recording.duration_s, 400)
        rpm = 60.0 * heard.speed.at(time)
        ax.plot(time, rpm, color=INK, linewidth=0.8)
        spread = max(0.03 * float(np.median(rpm)), 0.6 * float(np.ptp(rpm)))
        middle = 0.5 * float(rpm.min() + rpm.max())
        ax.set_ylim(middle - spread, middle + spread)
        tick = round(middle / 10) * 10
        ax.set_yticks([tick], [f"{tick} rpm"])
    else:
        ax.set_ylim(0, 1)
        ax.set_yticks([])
        ax.text(
            0.01,
            0.5,
            "engine speed not known",
            transform=ax.transAxes,
            va="center",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
    for out in heard.stretches.left_out:
        ax.axvspan(
            out.start_s, out.end_s, facecolor="white", edgecolor=QUIET_COLOUR, hatch="////",
            linewidth=0.0,
        )  # fmt: skip
    if heard.stretches.left_out:
        ax.set_title("hatched: left out", loc="right", fontsize=SMALL_PT, fontweight="normal")


def draw_spectrogram_panel(ax: Axes, heard: Heard, lead: MarkedPart | None) -> AxesImage:
    """Time across, log frequency up, level above the floor; the lead's track as open line."""
    picture = make_spectrogram(heard.recording)
    rows = np.log(picture.edges_hz)
    image = ax.imshow(
        picture.level_db,
        origin="lower",
        aspect="auto",
        cmap=SOUND_MAP,
        vmin=SHOWN_RANGE_DB[0],
        vmax=SHOWN_RANGE_DB[1],
        extent=(0.0, heard.recording.duration_s, rows[0], rows[-1]),
        interpolation="nearest",
    )
    mark_frequencies(ax, picture)
    ax.set_xlabel("time, s", labelpad=1, loc="left")
    ax.set_ylabel("frequency, Hz")
    if lead is not None:
        _draw_track(ax, heard, lead, picture)
    return image


def mark_frequencies(ax: Axes, picture: Spectrogram) -> None:
    """Round frequencies on the log axis, in Hz."""
    low, high = picture.edges_hz[0], picture.edges_hz[-1]
    ticks = [f for f in FREQUENCY_TICKS_HZ if low <= f <= high]
    ax.set_yticks([float(np.log(f)) for f in ticks], [_plain(f) for f in ticks])
    ax.set_ylim(float(np.log(low)), float(np.log(high)))


def draw_comb(ax: Axes, heard: Heard, marked: tuple[MarkedPart, ...]) -> None:
    """Short ticks at the right edge: where each part's lines must be, one column a part."""
    shown = [part for part in marked if part.suspected][:COMB_COLUMNS]
    ax.set_xlim(-0.2, COMB_COLUMNS)
    ax.set_xticks([])
    ax.tick_params(left=False, labelleft=False)
    for side in ax.spines.values():
        side.set_visible(False)
    if heard.speed is None:
        return
    speed_hz = heard.speed.mean_rpm / 60.0
    bottom, top = ax.get_ylim()
    for column, part in enumerate(shown):
        colour = SUSPECT_COLOUR if column == 0 else EXPLAINED_COLOUR
        places = np.log(np.array([*dict.fromkeys(part.orders)]) * speed_hz)
        places = places[(places > bottom) & (places < top)]
        ax.hlines(places, column, column + 0.7, color=colour, linewidth=1.2)
        ax.text(
            column + 0.35, 1.01, part.letter, ha="center", va="bottom", color=colour,
            fontweight="bold", transform=ax.get_xaxis_transform(),
        )  # fmt: skip


def _draw_track(ax: Axes, heard: Heard, lead: MarkedPart, picture: Spectrogram) -> None:
    """Two thin lines on either side of the lead's best tone, or the band that swells."""
    found = [line for line in lead.lines if line.state == "heard" and line.heard_order]
    swells = [line for line in lead.swells if line.state == "heard"]
    if heard.speed is None or not found + swells:
        return
    best = max(found + swells, key=lambda line: line.support)
    if best.swings_hz is not None:
        _draw_band(ax, lead.letter, best)
        return
    time = np.linspace(0.0, heard.recording.duration_s, 300)
    track = np.log(heard.speed.at(time) * (best.heard_order or best.order))
    if not np.log(picture.edges_hz[0]) < np.median(track) < np.log(picture.edges_hz[-1]):
        return
    for side in (-TRACK_HALF_WIDTH, TRACK_HALF_WIDTH):
        ax.plot(time, track + side, color="white", linewidth=1.4)
        ax.plot(time, track + side, color=SUSPECT_COLOUR, linewidth=0.8)
    ax.annotate(
        lead.letter, (0.0, float(track[0]) + TRACK_HALF_WIDTH), xytext=(2, 2),
        textcoords="offset points", color="white", fontweight="bold",
    )  # fmt: skip


def _draw_band(ax: Axes, letter: str, swell: LineEvidence) -> None:
    """Dashed edges of the band whose loudness swells with the lead, and how often."""
    low_hz, high_hz = swell.swings_hz or (0.0, 0.0)
    bottom, top = ax.get_ylim()
    for edge in (np.log(max(low_hz, 1.0)), np.log(max(high_hz, 1.0))):
        if bottom < edge < top:
            ax.axhline(edge, color="white", linewidth=1.6)
            ax.axhline(edge, color=SUSPECT_COLOUR, linewidth=1.0, linestyle="--")
    ax.annotate(
        f"{letter}: swells {times(swell.frequency_hz)}", (0.0, np.log(max(low_hz, 1.0))),
        xytext=(2, 2), textcoords="offset points", color="white", fontweight="bold",
    )  # fmt: skip


def _plain(frequency_hz: float) -> str:
    return f"{frequency_hz / 1000:g}k" if frequency_hz >= 1000 else f"{frequency_hz:g}"
