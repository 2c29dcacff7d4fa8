"""Convolutional networks that say of every pixel of a picture what it shows, run by OpenCV on one core.

The networks have the shape of a U (Ronneberger, Fischer and Brox 2015) and stand as ONNX files beside the rooms that
use them; `tests/benchmarks/fit_pixelnets.py` fits them.  Nothing is trained when the program runs.
"""

from __future__ import annotations

import threading
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]

_STRIDE = 32
"""The networks halve a picture five times."""
_LIGHT = 0.5
"""Exponent of the light that they see: near what a photo's code values are."""
_FAINT = 0.02
_held = threading.local()
"""A network of OpenCV must not be run by two threads at once, so each thread holds its own."""


def probabilities(linear: Plane, package: str, name: str) -> Plane:
    """What each pixel shows: (k, h, w), each from 0 to 1, in the order that the network was fitted to.

    `linear` (h, w, 3): linear RGB in any exposure and white balance, since the network sees it relative to the
    picture's own mean and spread.
    """
    h, w = linear.shape[:2]
    light = np.asarray(cv2.pow(np.maximum(linear, 0), _LIGHT), np.float32)
    light = (light - light.mean((0, 1))) / (light.std() + np.float32(_FAINT))
    below, right = -h % _STRIDE, -w % _STRIDE
    light = np.asarray(cv2.copyMakeBorder(light, 0, below, 0, right, cv2.BORDER_REPLICATE), np.float32)
    net = _network(package, name)
    net.setInput(np.ascontiguousarray(light.transpose(2, 0, 1)[None]))
    scores = np.asarray(net.forward(), np.float32)[0, :, :h, :w]
    return np.asarray(1 / (1 + np.exp(-scores)), np.float32)


def _network(package: str, name: str) -> Any:
    """This thread's copy of the network in `name`.onnx of a package."""
    networks = _held.__dict__.setdefault("networks", {})
    if (package, name) not in networks:
        weights = files(package).joinpath(f"{name}.onnx").read_bytes()
        networks[package, name] = cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
    return networks[package, name]
