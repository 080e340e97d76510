"""What a person would script: decode to grey, global threshold, components, weighted centroid; separation of the two largest.

This is the other side of the comparison in `speed.py`; it is deliberately plain. Usage: opencv_script.py FOLDER
"""

import pathlib
import sys

import cv2
import numpy as np

cv2.setNumThreads(1)


def centres(path):
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    level = 0.5 * (int(grey.max()) + int(np.median(grey)))
    _, mask = cv2.threshold(grey, level, 255, cv2.THRESH_BINARY)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    found = []
    for label in np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:2] + 1:
        left, top, width, height, _ = stats[label]
        window = grey[top : top + height, left : left + width].astype(np.float64)
        window *= labels[top : top + height, left : left + width] == label
        moments = cv2.moments(window)
        found.append((left + moments["m10"] / moments["m00"], top + moments["m01"] / moments["m00"]))
    return sorted(found)


def main():
    frames = sorted(p for p in pathlib.Path(sys.argv[1]).iterdir() if p.suffix.upper() == ".JPG")
    separations = []
    for frame in frames:
        (ax, ay), (bx, by) = centres(frame)
        separations.append(float(np.hypot(bx - ax, by - ay)))
    last = separations[-1]
    for frame, separation in zip(frames, separations):
        print(frame.name, f"{100 * (separation / last - 1):.4f}")


if __name__ == "__main__":
    main()
