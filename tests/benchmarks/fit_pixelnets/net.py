"""The network, in PyTorch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from torch import Tensor, cat, nn, sqrt
from torch.nn import functional

Weights = dict[str, NDArray[np.float32]]


class UNet(nn.Module):  # type: ignore[misc]  # PyTorch's types are not looked at: it need not be installed
    """A U-Net of (n, 3, h, w) pictures, h and w multiples of 32, that gives log odds (n, planes, h, w).

    `widths`: channels at each level, from half the picture's size down.
    """

    def __init__(self, widths: tuple[int, ...], planes: int) -> None:
        super().__init__()
        levels = range(len(widths) - 1)
        self.stem = _convolution(3, widths[0], size=4, stride=2)
        self.enc = nn.ModuleList(
            nn.ModuleList([_convolution(widths[max(0, i - 1)], w), _convolution(w, w)]) for i, w in enumerate(widths)
        )
        self.up = nn.ModuleList(nn.ConvTranspose2d(widths[i + 1], widths[i], 2, 2) for i in levels)
        self.dec = nn.ModuleList(
            nn.ModuleList([_convolution(2 * widths[i], widths[i]), _convolution(widths[i], widths[i])]) for i in levels
        )
        self.head = nn.ConvTranspose2d(widths[0], planes, 2, 2)

    def forward(self, x: Tensor) -> Tensor:
        x = self.stem(x)
        passed = []
        for i, (first, second) in enumerate(self.enc):
            x = second(first(functional.max_pool2d(x, 2) if i else x))
            passed.append(x)
        for i in reversed(range(len(self.up))):
            first, second = self.dec[i]
            x = second(first(cat([self.up[i](x), passed[i]], 1)))
        return self.head(x)


def _convolution(channels: int, width: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    convolution = nn.Conv2d(channels, width, size, stride, 1, bias=False)
    return nn.Sequential(convolution, nn.BatchNorm2d(width), nn.ReLU(True))


def folded(net: UNet) -> Weights:
    """The weights with batch norm folded into the convolutions before it, named as `onnx_file.model` wants them."""
    blocks = {"stem": net.stem}
    for side in ("enc", "dec"):
        for i, (first, second) in enumerate(getattr(net, side)):
            blocks |= {f"{side}{i}a": first, f"{side}{i}b": second}
    weights: dict[str, Tensor] = {}
    for name, (convolution, norm, _) in blocks.items():
        gain = norm.weight / sqrt(norm.running_var + norm.eps)
        weights[f"{name}.weight"] = convolution.weight * gain[:, None, None, None]
        weights[f"{name}.bias"] = norm.bias - norm.running_mean * gain
    for name, layer in {"head": net.head, **{f"up{i}": up for i, up in enumerate(net.up)}}.items():
        weights |= {f"{name}.weight": layer.weight, f"{name}.bias": layer.bias}
    return {name: w.detach().cpu().numpy() for name, w in weights.items()}
