"""Centres and widths of crops by general-purpose libraries, for comparison with the program's own.

usage: python compare_centres.py FOLDER

FOLDER holds binary PGM files (P5, 8 or 16 bit) with sRGB-coded luminance (IEC 61966-2-1). Prints one JSON object:
the versions of the libraries, and for each crop the centre x, y in px (the integer is the pixel's centre) by each
estimator, and the mean second central moment in px2. Each gets the same picture: linear light minus a plane fitted to
the outermost eight pixels on each side.
"""

import json
import pathlib
import sys
import warnings

import cv2
import numpy as np
import photutils
import scipy
import skimage
from photutils.centroids import centroid_2dg, centroid_com
from scipy import ndimage
from skimage.measure import regionprops

BORDER_PX = 8


def read_pgm(path):
    magic, size, top, samples = path.read_bytes().split(b"\n", 3)
    assert magic == b"P5", path
    width, height = map(int, size.split())
    kind = np.dtype(">u2") if int(top) > 255 else np.dtype("u1")
    return np.frombuffer(samples, kind).reshape(height, width) / float(top)


def linear(coded):
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def without_background(light):
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    border = np.ones(light.shape, bool)
    border[BORDER_PX:-BORDER_PX, BORDER_PX:-BORDER_PX] = False
    terms = np.stack([np.ones_like(light), x, y], axis=-1)
    plane, *_ = np.linalg.lstsq(terms[border], light[border], rcond=None)
    return light - terms @ plane


def centres(light):
    row, column = ndimage.center_of_mass(light)
    region = regionprops(np.ones(light.shape, int), intensity_image=light)[0]
    m = cv2.moments(light.astype(np.float32))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        gaussian = centroid_2dg(light)
    return {
        "scipy": [column, row],
        "scikit-image": [region.centroid_weighted[1], region.centroid_weighted[0]],
        "opencv": [m["m10"] / m["m00"], m["m01"] / m["m00"]],
        "photutils": list(map(float, centroid_com(light))),
        "photutils-2dg": list(map(float, gaussian)),
        "opencv-variance": (m["mu20"] + m["mu02"]) / m["m00"] / 2,
    }


def main():
    folder = pathlib.Path(sys.argv[1])
    crops = {
        path.stem: centres(without_background(linear(read_pgm(path))))
        for path in sorted(folder.glob("*.pgm"))
    }
    versions = {
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "scikit-image": skimage.__version__,
        "opencv-python-headless": cv2.__version__,
        "photutils": photutils.__version__,
    }
    json.dump({"versions": versions, "crops": crops}, sys.stdout, indent=1, default=float)


if __name__ == "__main__":
    main()
