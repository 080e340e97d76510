#!/usr/bin/env python3
"""Times `breathmark measure` against `opencv_script.py` as whole processes on one core, and prints ratios.

Both read the same rendered frames, in turn, several times, and the processor time of the whole process counts (on one
core it is the time taken, less what other programs on the machine took). The start of each process (Python's imports
too) is taken off by a run on six frames, the fewest with a result, and looking at the difference, so that the figures
are for frames alone. Nothing is asserted: machines differ, ratios in one run can be compared.

Usage: cargo build --release && target/tools/python/bin/python tests/bench/speed.py [PROGRAM]
"""

import pathlib
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile

TOP = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else TOP / "target/release/breathmark"
SCRIPT = pathlib.Path(__file__).with_name("opencv_script.py")
SIZES = {"1920×1280": (1920, 40), "3000×2000": (3000, 24), "6000×4000": (6000, 12)}
ROUNDS = 5
FEW = 6


def seconds(command):
    """Processor time of a command on one core, its own and the system's for it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(["taskset", "-c", "0", *map(str, command)], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def per_frame(command, few, many, frames):
    """Milliseconds a frame, from the difference between a folder of few frames and one of all."""
    return 1000 * (seconds([*command, many]) - seconds([*command, few])) / (frames - FEW)


def main():
    if not PROGRAM.exists():
        sys.exit("build first: cargo build --release")
    print(f"{'picture':>10}  {'script':>8}  {'ours':>8}  {'ratio':>6}   (ms of processor time a frame on one core, medians of {ROUNDS})")
    for name, (width, frames) in SIZES.items():
        with tempfile.TemporaryDirectory() as folder:
            many, few = pathlib.Path(folder, "many"), pathlib.Path(folder, "few")
            subprocess.run([PROGRAM, "simulate", many, "--width-px", str(width), "--frames", str(frames)], check=True, capture_output=True)
            few.mkdir()
            for frame in sorted(many.glob("*.JPG"))[-FEW:]:
                shutil.copy(frame, few)
            ours, script = [], []
            for _ in range(ROUNDS):
                script.append(per_frame([sys.executable, SCRIPT], few, many, frames))
                ours.append(per_frame([PROGRAM, "measure", "--format", "json"], few, many, frames))
            ratio = statistics.median(a / b for a, b in zip(script, ours))
            print(f"{name:>10}  {statistics.median(script):8.1f}  {statistics.median(ours):8.1f}  {ratio:6.1f}")


if __name__ == "__main__":
    main()
