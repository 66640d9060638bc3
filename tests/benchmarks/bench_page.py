"""How the page bears many uploads at once: answers while they come in, and its memory.

Starts the page in a process of its own, sends clips that all differ, and asks for the list
of cases and the case meanwhile, as somebody at a phone would.

    python tests/benchmarks/bench_page.py [--clips 50]
"""

from __future__ import annotations

import argparse
import io
import multiprocessing
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from multiprocessing.connection import Connection
from pathlib import Path

import httpx2
import numpy as np
import soundfile

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_new_case
from acoustic.web.waiting import read_waiting

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "library_bus_case" / "front_800rpm.opus"
PORT = 8499
HOME = f"http://127.0.0.1:{PORT}"
PROGRAM = "import sys; from acoustic.cli import main; sys.exit(main())"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=int, default=50)
    wanted = parser.parse_args().clips
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        file = CaseFile(title="Library bus", opened=date(2026, 11, 25))
        write_new_case(root / "bus", file, ROOT / "samples" / "layouts" / "front_four.toml")
        arguments = [sys.executable, "-c", PROGRAM, "serve", str(root), "--port", str(PORT)]
        server = subprocess.Popen(arguments, cwd=ROOT, stdout=subprocess.PIPE)
        try:
            assert server.stdout is not None
            server.stdout.readline()
            measure(root, server.pid, made_clips(wanted))
        finally:
            server.terminate()
            server.wait(timeout=30)


def made_clips(wanted: int) -> list[bytes]:
    """Clips of ten seconds that differ in a little noise, as WAV."""
    samples, rate_hz = soundfile.read(SAMPLE, dtype="float32")
    chance = np.random.default_rng(1)
    clips = []
    for _ in range(wanted):
        noisy = samples[: 10 * rate_hz] + 1e-4 * chance.standard_normal(10 * rate_hz)
        content = io.BytesIO()
        soundfile.write(content, noisy, rate_hz, format="WAV", subtype="PCM_16")
        clips.append(content.getvalue())
    return clips


def measure(root: Path, pid: int, clips: list[bytes]) -> None:
    """Send all clips at once, and look at the page meanwhile."""
    visitor = httpx2.Client(base_url=HOME, timeout=120.0, limits=httpx2.Limits(max_connections=80))
    page = wait_for(visitor)
    found = re.search(r'name="form-token" content="(\w+)"', page)
    assert found is not None
    headers = {"X-Form-Token": found[1]}
    print(f"server at rest: {resident_mb(pid):.0f} MB")
    context = multiprocessing.get_context("spawn")  # beside the senders, not among them
    here, there = context.Pipe()
    watcher = context.Process(target=watch, args=(pid, there))
    watcher.start()
    here.recv()

    time.sleep(5.0)  # as at an engine: the page was opened before the recording was made
    time_one(root, visitor, headers)

    def send(number: int) -> tuple[int, float]:
        began = time.perf_counter()
        sent = {"clip": (f"take {number}.wav", clips[number], "audio/wav")}
        told = {"point": "front", "rpm": "800"}
        answer = visitor.post("/case/bus/clips", data=told, files=sent, headers=headers)
        return answer.status_code, time.perf_counter() - began

    with ThreadPoolExecutor(len(clips)) as pool:
        answers = list(pool.map(send, range(len(clips))))
    taken_s = [seconds for _, seconds in answers]
    codes = sorted({code for code, _ in answers})
    print(f"{len(clips)} uploads at once: answered {codes}, slowest {max(taken_s):.2f} s")
    here.send("so far")
    show("page while they came in", here.recv()[0])
    began = time.perf_counter()
    while read_waiting(root / "bus"):
        time.sleep(0.5)
    refuse_streams(headers, visitor.cookies)
    here.send("end")
    seen, peak = here.recv()
    watcher.join()
    kept = len(read_case(root / "bus").recordings)
    print(f"all looked over {time.perf_counter() - began:.0f} s later; kept {kept}")
    show("page all the time", seen)
    print(f"server at most: {max(peak):.0f} MB")


def time_one(root: Path, visitor: httpx2.Client, headers: dict[str, str]) -> None:
    """Send one clip alone; time until its page has what the gate says, then the ranking."""
    began = time.perf_counter()
    sent = {"clip": (SAMPLE.name, SAMPLE.read_bytes(), "audio/ogg")}
    told = {"point": "front", "rpm": "800"}
    clip = visitor.post(
        "/case/bus/clips", data=told, files=sent, headers=headers, follow_redirects=True
    )
    while "Usable" not in visitor.get(clip.url.path).text:
        time.sleep(0.02)
    gate_s = time.perf_counter() - began
    while not any(event.kind == "screening made" for event in read_case(root / "bus").events):
        time.sleep(0.02)
    print(
        f"one clip of 20 s sent: the gate's answer in the page after {gate_s:.2f} s, 2 s at most; "
        f"screened after {time.perf_counter() - began:.2f} s"
    )


def refuse_streams(headers: dict[str, str], cookies: httpx2.Cookies) -> None:
    """Send 300 MB that say so, and 300 MB that do not."""
    piece, pieces = b"\0" * 1_000_000, 300
    head = b'--x\r\nContent-Disposition: form-data; name="clip"; filename="a.wav"\r\n\r\n'
    told = {**headers, "Content-Type": "multipart/form-data; boundary=x"}
    for said in ({}, {"Content-Length": str(len(head) + len(piece) * pieces)}):
        sent = 0

        def body() -> Iterator[bytes]:
            nonlocal sent
            yield head
            for _ in range(pieces):
                sent += len(piece)
                yield piece

        with httpx2.Client(base_url=HOME, timeout=120.0, cookies=cookies) as other:
            try:
                answer = other.post("/case/bus/clips", content=body(), headers={**told, **said})
                came = str(answer.status_code)
            except httpx2.TransportError as error:  # closed while there was still more to send
                came = type(error).__name__
        print(f"300 MB stream {said or 'of unknown length'}: {came} after {sent / 1e6:.0f} MB")


def watch(pid: int, there: Connection) -> None:
    """Ask for the case and the list again and again, as others would; tell when asked."""
    seen: list[float] = []
    peak: list[float] = []
    asked = ""
    with httpx2.Client(base_url=HOME, timeout=60.0) as other:
        other.get("/case/bus").raise_for_status()
        there.send("ready")
        while asked != "end":
            for address in ("/case/bus", "/"):
                began = time.perf_counter()
                other.get(address).raise_for_status()
                seen.append(time.perf_counter() - began)
                peak.append(resident_mb(pid))
            if there.poll(0.1):
                asked = there.recv()
                there.send((seen, peak))


def show(what: str, seconds: list[float]) -> None:
    """Print the middle and the slowest of some times."""
    print(
        f"{what}: {len(seconds)} answers, median {1000 * statistics.median(seconds):.0f} ms, "
        f"slowest {1000 * max(seconds):.0f} ms"
    )


def wait_for(visitor: httpx2.Client) -> str:
    """Give the list of cases once the server answers."""
    for _ in range(100):
        try:
            return visitor.get("/").text
        except httpx2.ConnectError:
            time.sleep(0.1)
    raise SystemExit("the page did not start")


def resident_mb(pid: int) -> float:
    """Memory of a process. [MB]"""
    status = Path(f"/proc/{pid}/status").read_text("ascii")
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) / 1000.0


if __name__ == "__main__":
    main()
