"""Times the general-purpose runtime of the BlazePose networks. Run by a Python of its own.

``PYTHON other_runtime.py FRAMES.npy ROUNDS`` prints one JSON object: version, processor time a
frame in ms (median over the rounds), and frames with a person. Stands alone: nothing of ours is
installed there.
"""

from __future__ import annotations

import json
import os
import sys
import time
from importlib import metadata


def main(frames_file: str, rounds: int) -> None:
    """Follow one person through the frames, as often as asked."""
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    import mediapipe
    import numpy as np

    frames = np.load(frames_file, mmap_mode="r")
    times, seen = [], 0
    for _ in range(rounds):
        with mediapipe.solutions.pose.Pose(static_image_mode=False, model_complexity=1) as network:
            network.process(np.ascontiguousarray(frames[0]))  # opens the files
            pictures = [np.ascontiguousarray(frame) for frame in frames]
            start = time.process_time()
            found = [network.process(picture).pose_landmarks is not None for picture in pictures]
            times.append((time.process_time() - start) / len(pictures) * 1e3)
            seen = sum(found)
    version = f"mediapipe {metadata.version('mediapipe')}"
    print(json.dumps({"version": version, "ms": float(np.median(times)), "seen": seen}))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
