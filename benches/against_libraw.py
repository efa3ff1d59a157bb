#!/usr/bin/env python3
"""Times whole audits against two references, interleaved in one run, and prints ratios.

    python benches/against_libraw.py [--rounds N] [--cpu] [--program target/release/rawassay] FILE...

References, on the same files, one process and one thread each:
  unpack   LibRaw (through rawpy) only unpacking the mosaic;
  script   a straightforward script with rawpy, numpy, OpenCV and scikit-image that measures the same things: levels and
           clipped share per position, connected clipped areas, noise from flat patches, row and column offsets, hot
           pixels, edge widths and their directions.
The audit runs with one worker and a new record each time: starting up, reading, decoding, measuring, judging, writing.
Start-up of Python and its imports is not counted for the references; start-up of the audit is. Times are medians; the first
round warms the disk cache and is not counted.
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
import numpy as np
import rawpy
from skimage import filters, measure

cv2.setNumThreads(1)


def unpack(path):
    with rawpy.imread(path) as raw:
        return int(raw.raw_image[0, 0])


def script(path):
    with rawpy.imread(path) as raw:
        image = raw.raw_image_visible.astype(np.float64)
        colours = raw.raw_colors_visible
        white = raw.white_level
        found = {}
        clipped = np.zeros(image.shape, bool)
        for colour in range(4):
            at = colours == colour
            if not at.any():
                continue
            values = image[at]
            black = raw.black_level_per_channel[colour]
            found[colour] = (np.mean(values >= white), np.median(values) - black, np.percentile(values, 99.9) - black)
            clipped |= at & (image >= white)
        cells = clipped[: clipped.shape[0] // 2 * 2, : clipped.shape[1] // 2 * 2]
        cells = cells[::2, ::2] | cells[1::2, ::2] | cells[::2, 1::2] | cells[1::2, 1::2]
        areas = measure.regionprops(measure.label(cells))
        green = image[::2, 1::2] if colours[0, 1] in (1, 3) else image[::2, ::2]
        # Noise: variance against mean over flat patches.
        h, w = green.shape[0] // 8 * 8, green.shape[1] // 8 * 8
        blocks = green[:h, :w].reshape(h // 8, 8, w // 8, 8).swapaxes(1, 2).reshape(-1, 64)
        means, variances = blocks.mean(1), blocks.var(1, ddof=1)
        flat = variances <= np.percentile(variances, 30)
        fit = np.polyfit(means[flat], variances[flat], 1)
        # One sigma for the frame: Immerkaer 1996.
        mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float64)
        sigma = np.sqrt(np.pi / 2) / 6 * np.mean(np.abs(cv2.filter2D(green, cv2.CV_64F, mask)))
        # Banding: rows and columns against their smooth course.
        rows = green.mean(1) - filters.gaussian(green.mean(1), 8)
        columns = green.mean(0) - filters.gaussian(green.mean(0), 8)
        # Hot pixels: far above the median of the neighbours.
        g32 = green.astype(np.float32)
        hot = int(np.sum(g32 - cv2.medianBlur(g32, 5) > 8 * sigma))
        # Edges: gradient, thinned, width by contrast over slope, by direction.
        dx, dy = cv2.Sobel(g32, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(g32, cv2.CV_32F, 0, 1) / 8
        slope = cv2.magnitude(dx, dy)
        kernel = np.ones((9, 9), np.uint8)
        contrast = cv2.dilate(g32, kernel) - cv2.erode(g32, kernel)
        strong = (slope > 6 * sigma) & (slope >= cv2.dilate(slope, np.ones((3, 3), np.uint8)))
        width = contrast[strong] / np.maximum(slope[strong], 1e-6)
        direction = np.degrees(np.arctan2(dy[strong], dx[strong])) % 180
        by = [np.percentile(width[(direction // 15) == k], 25) for k in range(12) if np.any((direction // 15) == k)]
        return found, len(areas), fit, rows.std(), columns.std(), hot, by


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
    asked = parser.parse_args()
    now = cpu_time if asked.cpu else time.perf_counter
    print("audit / unpack: how many times LibRaw's unpacking alone; script / audit: how many times faster than the script")
    for path in asked.files:
        times = {"audit": [], "unpack": [], "script": []}
        for number in range(asked.rounds + 1):
            for name, call in (("audit", audit), ("unpack", unpack), ("script", script)):
                arguments = (asked.program, path) if name == "audit" else (path,)
                took = clock(now, call, *arguments)
                if number > 0:
                    times[name].append(took)
        ours, bare, slow = (statistics.median(times[name]) for name in ("audit", "unpack", "script"))
        print(
            f"{os.path.basename(path)}: audit {ours:.3f} s, unpack {bare:.3f} s, script {slow:.3f} s;"
            f" audit / unpack {ours / bare:.2f}, script / audit {slow / ours:.1f}"
        )


if __name__ == "__main__":
    main()
