"""Kill a process that writes into a case, at random, again and again; count what is lost.

Each round a child adds made recordings, notes and screenings to a case in a loop and says
each one through a pipe once it is confirmed. It is killed (SIGKILL) at a random moment.
Then everything confirmed must be there, whole, and nothing may be there by half: no file
under a lasting name whose content is not that of its name, no line that hides others.

    python tests/trial/kill_case_writes.py --rounds 500

A kill leaves what the system has taken over; it does not show what a power cut does, for
which every write is forced to the disk before it is confirmed.
"""

import argparse
import hashlib
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import (
    write_event,
    write_new_case,
    write_recording,
    write_screening,
)
from acoustic.casework.history import Note, RecordingAdded, ScreeningMade
from acoustic.casework.lasting_files import INCOMING
from acoustic.recording.taken import Taken

ROOT = Path(__file__).resolve().parents[2]
LAYOUT = ROOT / "acoustic" / "cli" / "demo_layout.toml"
ROUNDS_PER_CASE = 25
LONGEST_LIFE_S = 0.15
CLIP_BYTES = (200, 300_000)


def write_until_killed(folder, clips, pipe, seed):
    """Add, note and screen for ever, confirming each on the pipe. Never returns."""
    rng = random.Random(seed)  # noqa: S311 - chance, no secret
    number = 0
    while True:
        number += 1
        now = datetime.now(UTC)
        kind = rng.choice(("note", "screening", "recording", "recording"))
        if kind == "note":
            said = {"note": write_event(folder, Note(f"note {seed} {number}"), now).id}
            said["text"] = f"note {seed} {number}"
        elif kind == "screening":
            answer = json.dumps({"seed": seed, "number": number, "filling": "x" * 5000})
            event = write_screening(folder, answer, ScreeningMade("cannot_tell"), now)
            said = {"screening": event.id, "answer": answer, "file": event.data.answer}
        else:
            clip = clips / f"idler_take{number}.wav"
            clip.write_bytes(b"RIFF" + rng.randbytes(rng.randint(*CLIP_BYTES)))
            added = write_recording(folder, clip, Taken("idler", take=number), now)
            digest = hashlib.sha256(clip.read_bytes()).hexdigest()
            said = {"recording": added.event.id, "sha256": digest}
        os.write(pipe, json.dumps(said).encode() + b"\n")


def one_life(folder, clips, rng):
    """Fork a writer, kill it at a random moment; give what it confirmed."""
    reading, writing = os.pipe()
    seed = rng.randrange(1 << 30)
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            write_until_killed(folder, clips, writing, seed)
        except BaseException as error:
            os.write(2, f"the writer failed by itself: {error!r}\n".encode())
        os._exit(1)
    os.close(writing)
    time.sleep(rng.uniform(0.0, LONGEST_LIFE_S))
    os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as pipe:
        raw = pipe.read()
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the writer ended before it was killed"
    return [json.loads(line) for line in raw.split(b"\n")[:-1]]


def faults_of(folder, confirmed):
    """List what of the confirmed is not there, or there by half."""
    case = read_case(folder)
    events = {event.id: event.data for event in case.history.events}
    paths = {one.event_id: one.path for one in case.recordings}
    faults = []
    for said in confirmed:
        number = said.get("note") or said.get("screening") or said.get("recording")
        data = events.get(number)
        if "note" in said:
            good = isinstance(data, Note) and data.text == said["text"]
        elif "screening" in said:
            kept = folder / said["file"]
            good = isinstance(data, ScreeningMade) and kept.read_text() == said["answer"]
        else:
            good = isinstance(data, RecordingAdded) and data.sha256 == said["sha256"]
            good = good and number in paths
        if not good:
            faults.append(f"confirmed but not there: {said}"[:200])
    for path in (folder / "recordings").iterdir():
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        if not path.name.startswith((INCOMING, digest[:16])):
            faults.append(f"half there: {path.name}")
    for path in (folder / "screenings").glob("[!.]*"):
        json.loads(path.read_text())
    if len(events) != len(case.history.events):
        faults.append("two events have one number")
    faults += [f"unreadable: {r}" for r in case.remarks if "cannot be read" in r]
    return faults


def cut_at(folder, earlier):
    """Name what the kill interrupted, as far as it left a trace that was not there earlier."""
    traces = []
    if any(folder.glob(f"*/{INCOMING}*")):
        traces.append("while a file was written")
    remarks = set(read_case(folder).remarks) - set(earlier)
    if any("cut short" in remark for remark in remarks):
        traces.append("between file and event")
    if any("breaks off" in remark for remark in remarks):
        traces.append("inside a line")
    return traces or ["elsewhere"]


def kill_rounds(rounds, place, seed=1):
    """Run the rounds; give (confirmed items, faults, count of what was cut)."""
    rng = random.Random(seed)  # noqa: S311 - chance, no secret
    clips = place / "clips"
    clips.mkdir()
    total, faults, cuts = 0, [], Counter()
    folder, confirmed = place, []
    for number in range(rounds):
        if number % ROUNDS_PER_CASE == 0:
            folder, confirmed = place / f"case-{number}", []
            write_new_case(folder, CaseFile(title="t", opened=date(2026, 11, 25)), LAYOUT)
        earlier = read_case(folder).remarks
        new = one_life(folder, clips, rng)
        total += len(new)
        confirmed += new
        cuts.update(cut_at(folder, earlier))
        faults += faults_of(folder, confirmed)
    return total, faults, cuts


def main():
    """Run from the command line; code 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        total, faults, cuts = kill_rounds(options.rounds, Path(place), options.seed)
    took = time.monotonic() - start
    print(f"{options.rounds} kills, {total} items confirmed, {len(faults)} faults, {took:.0f} s")
    print("killed " + ", ".join(f"{what}: {count}" for what, count in cuts.most_common()))
    print("\n".join(faults[:20]))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
