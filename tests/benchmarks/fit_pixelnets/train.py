"""Trains one network for a given time."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from tests.benchmarks.fit_pixelnets.augment import Batch, Sampler, read
from tests.benchmarks.fit_pixelnets.looks import Look
from tests.benchmarks.fit_pixelnets.net import UNet, folded

MASKS = 3000
WARM_UP = 300
"""Steps until the rate is full."""
AVERAGED = 0.9985
"""Share of the running average of the weights that each step leaves."""
DICE = 0.15
LEAST_BODY_PX = 30
"""Pictures with less of a body than that do not count in the Dice loss."""


@dataclass(frozen=True)
class Course:
    """How to train.  `seconds`: of training; `rate`: the learning rate's peak; `batch`: pictures a step; `start`: the
    state of a network to go on from."""

    seconds: float
    rate: float = 2e-3
    batch: int = 24
    seed: int = 0
    start: Path | None = None


def train(look: Look, folders: list[Path], out: Path, course: Course) -> None:
    """Train a network on all pictures of its look in `folders`.

    Writes into `out`: NAME.npz, the weights as `export` wants them, and NAME.pt, the state to go on from.
    """
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(course.seed)
    examples = read(folders, look, device)
    if not examples:
        raise FileNotFoundError(f"There are no pictures named {look.name}-*.jpg in {', '.join(map(str, folders))}.")
    print(f"{look.name}: {len(examples)} pictures on {device}", flush=True)
    sampler = Sampler(examples, look, device, np.random.default_rng(course.seed), MASKS)
    net, averaged = (UNet(look.widths, len(look.planes)).to(device) for _ in range(2))
    if course.start is not None:
        net.load_state_dict(torch.load(course.start, map_location=device, weights_only=True))
    averaged.load_state_dict(net.state_dict())
    net = net.to(memory_format=torch.channels_last)
    _steps(net, averaged, sampler, course)
    averaged.eval()
    out.mkdir(parents=True, exist_ok=True)
    weights: dict[str, Any] = {**folded(averaged)}
    np.savez(out / f"{look.name}.npz", **weights)
    torch.save(averaged.state_dict(), out / f"{look.name}.pt")


def _steps(net: UNet, averaged: UNet, sampler: Sampler, course: Course) -> None:
    """Train until the time is over; `averaged` gets the running average of the weights."""
    device = sampler.device
    optimiser = torch.optim.AdamW(net.parameters(), lr=course.rate, weight_decay=1e-2)
    weights = torch.tensor(list(sampler.look.planes.values()), device=device)[None, :, None, None]
    now, mean = ([v for v in n.state_dict().values() if v.dtype.is_floating_point] for n in (net, averaged))
    step, begun = 0, time.monotonic()
    while (passed := (time.monotonic() - begun) / course.seconds) < 1:
        rate = course.rate * min(1, step / WARM_UP + 0.01) * (0.5 + 0.5 * math.cos(math.pi * passed))
        for group in optimiser.param_groups:
            group["lr"] = rate
        with torch.no_grad():
            batch = sampler.batch(course.batch)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            scores = net(batch.seen.contiguous(memory_format=torch.channels_last))
        entropy, total = losses(scores.float(), batch, weights)
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        with torch.no_grad():
            for slow, quick in zip(mean, now, strict=True):
                slow.lerp_(quick, 1 - min(AVERAGED, (1 + step) / (10 + step)))
        step += 1
        if step % 1000 == 0:
            print(f"{sampler.look.name}: step {step}, cross entropy {entropy.item():.4f}", flush=True)
    print(f"{sampler.look.name}: {step} steps", flush=True)


def losses(scores: Tensor, batch: Batch, weights: Tensor) -> tuple[Tensor, Tensor]:
    """Cross entropy of log odds (n, planes, h, w), what is there weighing `weights` (1, planes, 1, 1); and the loss:
    that and a soft Dice loss of the first plane (Milletari, Navab and Ahmadi 2016), the body."""
    true, counts = batch.true, batch.counts
    entropy = functional.binary_cross_entropy_with_logits(scores, true, reduction="none") * (1 + (weights - 1) * true)
    mean = (entropy * counts).sum() / (counts.sum() * scores.shape[1])
    said, body = torch.sigmoid(scores[:, :1]) * counts, true[:, :1] * counts
    shared, both = (said * body).sum((1, 2, 3)), (said * said).sum((1, 2, 3)) + (body * body).sum((1, 2, 3))
    dice = 1 - (2 * shared + 1) / (both + 1)
    has_body = (body.sum((1, 2, 3)) > LEAST_BODY_PX).float()
    return mean, mean + DICE * (dice * has_body).sum() / (has_body.sum() + 1e-6)
