#!/usr/bin/env python3
"""Times `breathmark measure` against `opencv_script.py` as whole processes, and prints ratios.

Both read the same rendered frames, in turn, several times. On one core the processor time of the whole process counts (it is
the time taken, less what other programs on the machine took). On two cores the time by the clock counts, for the script too,
which runs on one: leave the machine alone meanwhile. The first ratio is that of whole processes, as a person waits for them.
All other figures are for frames alone: the start of each process (Python's imports too) is taken off by a run on six frames,
the fewest with a result, and looking at the difference. Each size comes twice: as it is rendered, which is cleaner than a
camera's pictures, and with noise of `SIGMA` codes (seed `SEED`), which makes files about twice as large; time follows file
size. Nothing is asserted: machines differ, ratios in one run can be compared.

Usage: cargo build --release && target/tools/python/bin/python tests/bench/speed.py [PROGRAM]
"""

import itertools
import pathlib
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

import cv2
import numpy as np

TOP = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else TOP / "target/release/breathmark"
SCRIPT = pathlib.Path(__file__).with_name("opencv_script.py")
SIZES = {"1920×1280": (1920, 40), "3000×2000": (3000, 24), "6000×4000": (6000, 12)}
ROUNDS = 5
FEW = 6
SIGMA = 2.0
QUALITY = 90
SEED = 1


def seconds(command, cores):
    """Processor time of a command on some cores, its own and the system's for it, and the time it takes by the clock."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    subprocess.run(["taskset", "-c", cores, *map(str, command)], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after, end = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, end - start


def per_frame(command, few, many, frames, cores="0"):
    """Milliseconds a frame by the processor and by the clock, from the difference between a folder of few frames and one of all;
    and the processor time of the whole process on all."""
    whole, start = seconds([*command, many], cores), seconds([*command, few], cores)
    return [1000 * (a - b) / (frames - FEW) for a, b in zip(whole, start)] + [1000 * whole[0]]


def make_noisy(frames):
    """Adds noise, mostly alike in all colours as demosaicking leaves it, and puts each file's own metadata before its new picture."""
    chance = np.random.default_rng(SEED)
    for path in frames:
        old = path.read_bytes()
        picture = cv2.imread(str(path), cv2.IMREAD_COLOR).astype(np.float32)
        alike = chance.standard_normal((*picture.shape[:2], 1), dtype=np.float32)
        apart = chance.standard_normal(picture.shape, dtype=np.float32)
        codes = np.clip(picture + SIGMA * (0.8 * alike + 0.6 * apart), 0, 255).round().astype(np.uint8)
        new = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
        path.write_bytes(new[:2] + metadata(old) + new[2:])


def metadata(jpeg):
    """The APP1 segments of a file."""
    at, found = 2, b""
    while jpeg[at + 1] != 0xDA:
        end = at + 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if jpeg[at + 1] == 0xE1:
            found += jpeg[at:end]
        at = end
    return found


def main():
    if not PROGRAM.exists():
        sys.exit("build first: cargo build --release")
    print(f"ms a frame, medians of {ROUNDS} rounds")
    print(f"{'picture':>16}  {'whole':>5}  {'script':>7}  {'ours':>7}  {'ratio':>5}   {'script by the clock':>19}  {'ours on two cores':>17}  {'ratio':>5}")
    for (name, (width, frames)), noisy in itertools.product(SIZES.items(), (False, True)):
        with tempfile.TemporaryDirectory() as folder:
            many, few = pathlib.Path(folder, "many"), pathlib.Path(folder, "few")
            subprocess.run([PROGRAM, "simulate", many, "--width-px", str(width), "--frames", str(frames)], check=True, capture_output=True)
            if noisy:
                name += " noisy"
                make_noisy(sorted(many.glob("*.JPG")))
            few.mkdir()
            for frame in sorted(many.glob("*.JPG"))[-FEW:]:
                shutil.copy(frame, few)
            measure = [PROGRAM, "measure", "--format", "json"]
            rounds = []
            for _ in range(ROUNDS):
                script = per_frame([sys.executable, SCRIPT], few, many, frames)
                one = per_frame(measure, few, many, frames)
                two = per_frame(measure, few, many, frames, cores="0,1")
                rounds.append((script[2] / one[2], script[0], one[0], script[0] / one[0], script[1], two[1], script[1] / two[1]))
            of = [statistics.median(column) for column in zip(*rounds)]
            print(f"{name:>16}  {of[0]:5.1f}  {of[1]:7.1f}  {of[2]:7.1f}  {of[3]:5.1f}   {of[4]:19.1f}  {of[5]:17.1f}  {of[6]:5.1f}")


if __name__ == "__main__":
    main()
