#!/usr/bin/env python3
"""Audits a folder of very many files, again with nothing changed, and again after some were moved; prints time and memory.

    python benches/many_files.py [--files 100000] [--frames 300] [--program target/release/rawassay] FRAME.dng

All but `frames` of the files are tiny and broken, each in another way, so that walking, identifying, the record and the
scorecards are what takes the time; the others are copies of FRAME.dng that differ in a few bytes behind their end. Memory is
the most that the program itself and the greatest of its workers held (VmHWM, so Linux only); time is the clock's and the
processor's, of all processes together.
"""

import argparse
import os
import pathlib
import resource
import subprocess
import tempfile
import time


def fill(folder, files, frames, frame):
    every = max(files // max(frames, 1), 1)
    for number in range(files):
        stamp = number.to_bytes(8, "little")
        whole = number % every == 0 and number // every < frames
        (folder / f"F{number:06}.dng").write_bytes(frame + stamp if whole else b"II*\0" + stamp)


def peaks(pid, seen):
    """Raises `seen` to what the program and its children have held, MB."""
    try:
        tasks = pathlib.Path(f"/proc/{pid}/task").iterdir()
        children = {int(c) for task in tasks for c in (task / "children").read_text().split()}
    except OSError:
        return
    for name, pids in (("program", {pid}), ("worker", children)):
        for each in pids:
            try:
                status = pathlib.Path(f"/proc/{each}/status").read_text()
            except OSError:
                continue
            held = [int(line.split()[1]) / 1000 for line in status.splitlines() if line.startswith("VmHWM")]
            seen[name] = max([seen[name], *held])


def audit(program, folder, what):
    command = [program, "audit", "files", "-q", "--jobs", "1", "--record", "record.ndjson", "--out", "cards.csv", "--force"]
    before, start, seen = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter(), {"program": 0, "worker": 0}
    running = subprocess.Popen(command, cwd=folder)
    while running.poll() is None:
        peaks(running.pid, seen)
        time.sleep(0.05)
    if running.returncode not in (0, 3):
        raise SystemExit(f"{what}: the audit ended with status {running.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    with open(folder / "cards.csv", "rb") as cards:
        rows = sum(1 for _ in cards) - 1
    print(
        f"{what}: {rows} rows, {time.perf_counter() - start:.1f} s, processor {processor:.1f} s,"
        f" program {seen['program']:.0f} MB, worker {seen['worker']:.0f} MB",
        flush=True,
    )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("frame", type=pathlib.Path)
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--frames", type=int, default=300)
    parser.add_argument("--program", default="target/release/rawassay")
    asked = parser.parse_args()
    program = os.path.abspath(asked.program)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "files").mkdir()
        fill(folder / "files", asked.files, asked.frames, asked.frame.read_bytes())
        audit(program, folder, f"{asked.files} files")
        audit(program, folder, "nothing changed")
        for number in range(0, asked.files, 100):
            path = folder / "files" / f"F{number:06}.dng"
            path.rename(path.with_name(f"G{number:06}.dng"))
        audit(program, folder, "one in a hundred renamed")


if __name__ == "__main__":
    main()
