#!/usr/bin/env python3
"""A focus stack merged by general calls of OpenCV and numpy alone: what `npm run bench` measures Lamella against.

    peer.py FOLDER OUT depth|pyramid [THREADS]

align    ECC maximisation from frame to frame on a quarter of the size (Evangelidis and Psarakis 2008), chained to the
         middle frame, then bicubic warpAffine.
pyramid  Laplacian pyramid; each coefficient from the frame of most local energy (Burt and Adelson 1983).
depth    sum-modified Laplacian with a parabola through its logarithm about the peak (Nayar and Nakagawa 1994), median,
         holes filled by confidence, guided filter (He, Sun and Tang 2010); then a second pass, frames weighted by their
         distance from the depth.
Writes composite.tif; with depth also depth.tif (float32, steps) and sources.png. The next frame is decoded meanwhile.
"""
import os
import queue
import sys
import threading

import cv2
import numpy as np

levels = 7


def read(path):
    picture = cv2.imread(path, cv2.IMREAD_COLOR)
    if picture is None:
        raise SystemExit(f"{path} cannot be read")
    return picture


def decoded(paths):
    """The pictures in their order, one decoded ahead."""
    ready = queue.Queue(maxsize=1)

    def run():
        for path in paths:
            ready.put(read(path))

    threading.Thread(target=run, daemon=True).start()
    for _ in paths:
        yield ready.get()


def motions(paths):
    """Matrix of each frame that takes a pixel of the middle frame to one of its own."""
    flags = cv2.IMREAD_REDUCED_GRAYSCALE_4
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 1e-5)
    small = [cv2.GaussianBlur(cv2.imread(path, flags), (0, 0), 1).astype(np.float32) for path in paths]
    pairs = []
    for before, after in zip(small, small[1:]):
        start = np.eye(2, 3, dtype=np.float32)
        _, found = cv2.findTransformECC(before, after, start, cv2.MOTION_AFFINE, stop, None, 5)
        pairs.append(np.vstack([found, [0, 0, 1]]))
    middle = (len(paths) - 1) // 2
    chain = [np.eye(3) for _ in paths]
    for k in range(middle + 1, len(paths)):
        chain[k] = pairs[k - 1] @ chain[k - 1]
    for k in range(middle - 1, -1, -1):
        chain[k] = np.linalg.inv(pairs[k]) @ chain[k + 1]
    grow = np.array([[4, 0, 1.5], [0, 4, 1.5], [0, 0, 1]])
    return [(grow @ matrix @ np.linalg.inv(grow))[:2] for matrix in chain]


def warped(picture, matrix):
    height, width = picture.shape[:2]
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(picture, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)


def select(frames):
    """The composite by the most energy of each coefficient."""
    best, energy, base, count = None, None, None, 0
    for picture in frames:
        gaussian = picture.astype(np.float32)
        laplacian = []
        for _ in range(levels):
            smaller = cv2.pyrDown(gaussian)
            laplacian.append(gaussian - cv2.pyrUp(smaller, dstsize=gaussian.shape[1::-1]))
            gaussian = smaller
        own = [cv2.boxFilter(cv2.cvtColor(np.abs(detail), cv2.COLOR_BGR2GRAY) ** 2, -1, (5, 5)) for detail in laplacian]
        count += 1
        if best is None:
            best, energy, base = laplacian, own, gaussian
            continue
        base += gaussian
        for level, detail in enumerate(laplacian):
            mask = (own[level] > energy[level]).astype(np.uint8)
            cv2.copyTo(detail, mask, best[level])
            cv2.copyTo(own[level], mask, energy[level])
    picture = base / count
    for detail in reversed(best):
        picture = cv2.pyrUp(picture, dstsize=detail.shape[1::-1]) + detail
    return cv2.convertScaleAbs(np.maximum(picture, 0))


def focus_of(picture):
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
    across = cv2.filter2D(grey, -1, np.float32([[-1, 2, -1]]))
    down = cv2.filter2D(grey, -1, np.float32([[-1], [2], [-1]]))
    return cv2.boxFilter(cv2.absdiff(across, 0) + cv2.absdiff(down, 0), -1, (9, 9)) + 1e-3, grey


def peaks(frames):
    """Best measure of each pixel, its frame, its neighbours along the stack, and the tone of the best frame."""
    state = None
    last = None
    for k, picture in enumerate(frames):
        measure, grey = focus_of(picture)
        if state is None:
            zero = np.full_like(measure, 1e-3)
            state = dict(best=measure, at=np.zeros_like(measure), before=zero, after=zero.copy(), tone=grey)
        else:
            follows = (state["at"] == k - 1).astype(np.uint8)
            cv2.copyTo(measure, follows, state["after"])
            better = (measure > state["best"]).astype(np.uint8)
            for name, plane in (("before", last), ("best", measure), ("tone", grey)):
                cv2.copyTo(plane, better, state[name])
            state["at"][better > 0] = k
            state["after"][better > 0] = 1e-3
        last = measure
    return state


def guided(guide, source, weight, radius, eps):
    def mean(plane):
        return cv2.boxFilter(plane, -1, (2 * radius + 1, 2 * radius + 1))

    total = mean(weight) + 1e-6
    of_guide, of_source = mean(guide * weight) / total, mean(source * weight) / total
    slope = (mean(guide * source * weight) / total - of_guide * of_source) / (
        mean(guide * guide * weight) / total - of_guide**2 + eps
    )
    offset = of_source - slope * of_guide
    return mean(slope) * guide + mean(offset)


def depth_of(state, count):
    before, best, after = (np.log(state[name]) for name in ("before", "best", "after"))
    bend = before - 2 * best + after
    inside = (bend < -1e-3) & (state["at"] > 0) & (state["at"] < count - 1)
    shift = np.where(inside, 0.5 * (before - after) / np.where(inside, bend, 1), 0)
    depth = (state["at"] + np.clip(shift, -0.5, 0.5)).astype(np.float32)
    depth = cv2.medianBlur(depth, 5)
    weight = np.clip(state["best"] / (np.mean(state["best"]) + 1e-6), 0.01, 1).astype(np.float32)
    spread = cv2.GaussianBlur(depth * weight, (0, 0), 8) / cv2.GaussianBlur(weight, (0, 0), 8)
    filled = np.where(weight < 0.1, spread, depth).astype(np.float32)
    return np.clip(guided(state["tone"] / 255, filled, weight, 8, 1e-3), 0, count - 1)


def weigh(frames, depth):
    total, weights = None, None
    for k, picture in enumerate(frames):
        weight = np.maximum(0, 1 - np.abs(depth - k)).astype(np.float32) + 1e-6
        part = picture.astype(np.float32) * weight[:, :, None]
        total = part if total is None else total + part
        weights = weight if weights is None else weights + weight
    return cv2.convertScaleAbs(total / weights[:, :, None])


def main():
    folder, out, rule = sys.argv[1:4]
    cv2.setNumThreads(int(sys.argv[4]) if len(sys.argv) > 4 else os.cpu_count())
    paths = [os.path.join(folder, name) for name in sorted(os.listdir(folder))]
    matrices = motions(paths)

    def frames():
        for picture, matrix in zip(decoded(paths), matrices):
            yield warped(picture, matrix)

    os.makedirs(out, exist_ok=True)
    if rule == "pyramid":
        composite = select(frames())
    else:
        depth = depth_of(peaks(frames()), len(paths))
        composite = weigh(frames(), depth)
        plain = [cv2.IMWRITE_TIFF_COMPRESSION, 1]
        cv2.imwrite(os.path.join(out, "depth.tif"), depth.astype(np.float32), plain)
        cv2.imwrite(os.path.join(out, "sources.png"), np.rint(depth + 1).astype(np.uint16))
    cv2.imwrite(os.path.join(out, "composite.tif"), composite, [cv2.IMWRITE_TIFF_COMPRESSION, 1])


main()
