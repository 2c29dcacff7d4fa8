"""Convolutional networks that say of every pixel of a picture what it shows, run by ONNX Runtime on one core.

The networks have the shape of a U (Ronneberger, Fischer and Brox 2015) and stand as ONNX files beside the rooms that
use them; `tests/benchmarks/fit_pixelnets/` fits them.  Nothing is trained when the program runs.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np
import onnxruntime
from numpy.typing import NDArray

Plane = NDArray[np.float32]

_STRIDE = 32
"""The networks halve a picture five times."""
_LIGHT = 0.5
"""Exponent of the light that they see: near what a photo's code values are."""
_FAINT = 0.02


def probabilities(linear: Plane, package: str, name: str) -> Plane:
    """What each pixel shows: (k, h, w), each from 0 to 1, in the order that the network was fitted to.

    `linear` (h, w, 3): linear RGB in any exposure and white balance, since the network sees it relative to the
    picture's own mean and spread.
    """
    h, w = linear.shape[:2]
    light = np.asarray(cv2.pow(np.maximum(linear, 0), _LIGHT), np.float32)
    mean, spread = cv2.meanStdDev(light)
    whole = np.sqrt((spread**2 + mean**2).mean() - mean.mean() ** 2)
    light = (light - mean.ravel().astype(np.float32)) / np.float32(whole + _FAINT)
    below, right = -h % _STRIDE, -w % _STRIDE
    light = np.asarray(cv2.copyMakeBorder(light, 0, below, 0, right, cv2.BORDER_REPLICATE), np.float32)
    batch = np.ascontiguousarray(light.transpose(2, 0, 1)[None])
    return np.asarray(_network(package, name).run(None, {"picture": batch})[0], np.float32)[0, :, :h, :w]


@lru_cache(maxsize=4)
def _network(package: str, name: str) -> onnxruntime.InferenceSession:
    """The network in `name`.onnx of a package; it may be run by several threads at once."""
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1  # photos are measured side by side, one to a core
    options.inter_op_num_threads = 1
    weights = files(package).joinpath(f"{name}.onnx").read_bytes()
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])
