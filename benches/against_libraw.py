#!/usr/bin/env python3
"""Times whole audits against references, interleaved in one run, and prints ratios.

    python benches/against_libraw.py [--rounds N] [--cpu] [--program target/release/rawassay] [--script short whole] FILE...

References, on the same files, one process and one thread each:
  unpack   LibRaw (through rawpy) only unpacking the mosaic;
  short    a script that takes the cheapest reading of each thing: green alone, edge widths by contrast over slope;
  whole    a straightforward script that measures the same things as the program: all filter positions, robust noise fits,
           fitted edges with rise and MTF50 by direction, nulls of the spectrum.
Both scripts (plain_scripts.py) use rawpy, numpy, scipy, OpenCV and scikit-image. The audit runs with one worker and a new
record each time: starting up, reading, decoding, measuring, judging, writing. Start-up of Python and its imports is not
counted for the references; start-up of the audit is. Times are medians; the first round warms the disk cache and is not
counted.
"""

import argparse
import os
import resource
import statistics
import subprocess
import tempfile
import time

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import cv2
import rawpy

import plain_scripts

cv2.setNumThreads(1)
SCRIPTS = {"short": plain_scripts.short, "whole": plain_scripts.whole}


def unpack(path):
    with rawpy.imread(path) as raw:
        return int(raw.raw_image[0, 0])


def audit(program, path):
    with tempfile.TemporaryDirectory() as folder:
        command = [program, "audit", path, "--jobs", "1", "-q", "--out", folder + "/cards.csv"]
        code = subprocess.run(command).returncode
        if code not in (0, 3):
            raise SystemExit(f"{path}: the audit ended with status {code}")


def cpu_time():
    """Processor time of this process and of the children it has waited for, seconds."""
    usages = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in usages)


def clock(now, call, *arguments):
    start = now()
    call(*arguments)
    return now() - start


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="+")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--cpu", action="store_true", help="processor time instead of the clock, for a busy machine")
    parser.add_argument("--program", default="target/release/rawassay")
    parser.add_argument("--script", nargs="*", choices=sorted(SCRIPTS), default=sorted(SCRIPTS), help="scripts to time")
    asked = parser.parse_args()
    now = cpu_time if asked.cpu else time.perf_counter
    runs = {"audit": lambda path: audit(asked.program, path), "unpack": unpack}
    runs |= {name: SCRIPTS[name] for name in asked.script}
    print("audit / unpack: how many times LibRaw's unpacking alone; others / audit: how many times faster than that script")
    for path in asked.files:
        times = {name: [] for name in runs}
        for number in range(asked.rounds + 1):
            for name, call in runs.items():
                took = clock(now, call, path)
                if number > 0:
                    times[name].append(took)
        middle = {name: statistics.median(taken) for name, taken in times.items()}
        told = ", ".join(f"{name} {took:.3f} s" for name, took in middle.items())
        ratios = [f"audit / unpack {middle['audit'] / middle['unpack']:.2f}"]
        ratios += [f"{name} / audit {middle[name] / middle['audit']:.1f}" for name in asked.script]
        print(f"{os.path.basename(path)}: {told}; {', '.join(ratios)}")


if __name__ == "__main__":
    main()
