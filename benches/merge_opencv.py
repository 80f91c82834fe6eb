"""OpenCV's Debevec merge on the frames that `cargo bench --bench merge -- draw FOLDER` draws.

    python3 -m venv venv
    venv/bin/pip install numpy==2.2.6 opencv-python-headless==4.12.0.88
    venv/bin/python merge_opencv.py aligned FOLDER
    venv/bin/python merge_opencv.py whole FOLDER

`aligned` times the merge alone on decoded frames that lie in place, with the sRGB curve given as the response.
`whole` decodes, aligns (AlignMTB), calibrates the response (CalibrateDebevec) and merges frames out of place.
Memory is the most the process held.
"""

import resource
import sys
import time

import cv2
import numpy as np

STOPS = np.array([-11, -10, -8, -7, -5, -4, -2, -1, 1], float)
RADIUS = 480.0
what, folder = sys.argv[1:3]
times = (2.0**STOPS).astype(np.float32)


def light(r, angle):
    r = np.maximum(r, 1.0)
    mean = 1e-6 * (0.0532 * r**-2.5 + 1.425 * r**-7 + 2.565 * r**-17)
    return mean * (1 + 0.35 * np.cos(5 * angle) + 0.06 * np.sin(31 * angle + r)) + 2e-10


def srgb_response():
    v = np.arange(256) / 255.0
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    linear[0] = linear[1] / 4
    return np.repeat(linear.astype(np.float32).reshape(256, 1, 1), 3, axis=2)


def frames(kind):
    return [cv2.imread(f"{folder}/{kind}-{k}.jpg") for k in range(9)]


def error(merged, middles):
    """Root mean square against the truth; the lowest over the given places of the Sun, as alignment picks a pivot."""
    best = np.inf
    h, w = merged.shape[:2]
    y, x = np.mgrid[0:h:3, 0:w:3].astype(float)
    got = merged[::3, ::3, 1].astype(float)
    for sx, sy in middles:
        r = np.hypot(x - sx, y - sy) / RADIUS
        here = (r >= 1.05) & (r < 4) & np.isfinite(got)
        ratio = got[here] / light(r[here], np.arctan2(y - sy, x - sx)[here])
        ratio /= np.median(ratio)
        best = min(best, np.sqrt(np.mean((ratio - 1) ** 2)))
    return best


def report(what, took, used, peak_mb, merged, middles):
    print(f"{what}: {took:.2f} s, processor {used:.1f} s, {peak_mb:.0f} MB at most, {100 * error(merged, middles):.2f} % rms in 1.05 to 4 radii")


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


k = np.arange(9)
middles = [(3000.0, 2000.0)]
if what == "aligned":
    images = frames("still")
    start, processor = time.time(), time.process_time()
    merged = cv2.createMergeDebevec().process(images, times=times, response=srgb_response())
else:
    middles = list(zip(3000 + 7.3 * np.sin(1.7 * k), 2000 + 7.3 * np.cos(2.9 * k)))
    start, processor = time.time(), time.process_time()
    images = frames("moved")
    cv2.createAlignMTB().process(images, images)
    response = cv2.createCalibrateDebevec().process(images, times=times)
    merged = cv2.createMergeDebevec().process(images, times=times, response=response)
took, used, most = time.time() - start, time.process_time() - processor, peak_mb()
report(what, took, used, most, merged, middles)
