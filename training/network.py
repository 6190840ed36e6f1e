"""The network in torch, and its export to arrays.

Convolutions over time and half steps, with residual blocks whose span in time doubles, filters
that reach whole octaves, and a summary of each frame that all half steps see. The normalization of
batches is folded into the convolutions on export, so that at run time there are only
multiplications, additions and rectifiers (:mod:`trainer.transcript.harp_network`).
"""

from __future__ import annotations

import numpy as np
import torch
from torch import nn

from trainer.transcript.pitch_spectra import CHANNELS

Tensor = torch.Tensor
LAYOUT = (
    "t1",
    "t2",
    "octaves",
    "t4",
    "frame",
    "t8",
    "t1",
    "octaves",
    "t2",
    "t4",
    "frame",
    "t8",
    "t1",
)
"""Blocks in order: 3 x 3 with a span in time, whole octaves, or the summary of frames."""


def _normalized(
    size_in: int, size_out: int, kernel: tuple[int, int], **options: object
) -> nn.Module:
    return nn.Sequential(
        nn.Conv2d(size_in, size_out, kernel, bias=False, **options),  # type: ignore[arg-type]
        nn.BatchNorm2d(size_out),
    )


class TimeBlock(nn.Module):
    """Residual block of a 3 x 3 filter and a 1 x 1 filter."""

    def __init__(self, width: int, span: int) -> None:
        """Prepare a block whose taps in time are `span` frames apart."""
        super().__init__()
        self.wide = _normalized(width, width, (3, 3), padding=(span, 1), dilation=(span, 1))
        self.point = _normalized(width, width, (1, 1))

    def forward(self, x: Tensor) -> Tensor:
        """Apply it."""
        return torch.relu(x + self.point(torch.relu(self.wide(x))))


class OctaveBlock(nn.Module):
    """Residual block of a filter over five places an octave apart."""

    def __init__(self, width: int) -> None:
        """Prepare a block."""
        super().__init__()
        self.wide = _normalized(width, width, (1, 5), padding=(0, 24), dilation=(1, 12))

    def forward(self, x: Tensor) -> Tensor:
        """Apply it."""
        return torch.relu(x + self.wide(x))


class FrameBlock(nn.Module):
    """Adds a summary of the frames around to all half steps."""

    def __init__(self, width: int) -> None:
        """Prepare a block."""
        super().__init__()
        self.first = _normalized(2 * width, width, (5, 1), padding=(8, 0), dilation=(4, 1))
        self.second = _normalized(width, width, (5, 1), padding=(16, 0), dilation=(8, 1))

    def forward(self, x: Tensor) -> Tensor:
        """Apply it."""
        summary = torch.cat([x.mean(3, keepdim=True), x.amax(3, keepdim=True)], 1)
        return torch.relu(x + self.second(torch.relu(self.first(summary))))


class HarpNetwork(nn.Module):
    """Activation of each pitch, onset of each half step, and whether a harp sounds."""

    def __init__(self, width: int = 48) -> None:
        """Prepare a network of some width."""
        super().__init__()
        self.stem = _normalized(CHANNELS, width, (3, 5), stride=(1, 3), padding=(1, 1))
        blocks: list[nn.Module] = []
        for kind in LAYOUT:
            if kind == "octaves":
                blocks.append(OctaveBlock(width))
            elif kind == "frame":
                blocks.append(FrameBlock(width))
            else:
                blocks.append(TimeBlock(width, int(kind[1:])))
        self.blocks = nn.ModuleList(blocks)
        self.head = nn.Conv2d(width, 4, (1, 1))
        self.presence = nn.Conv2d(2 * width, 1, (1, 1))
        nn.init.constant_(self.head.bias, -4.0)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Return logits of activation, onset and presence; shapes as the labels'."""
        x = torch.relu(self.stem(x))
        for block in self.blocks:
            x = block(x)
        out = self.head(x)
        summary = torch.cat([x.mean(3, keepdim=True), x.amax(3, keepdim=True)], 1)
        present = self.presence(summary)[:, 0, :, 0]
        activation = out[:, :3].permute(0, 2, 3, 1).flatten(2)
        return activation, out[:, 3], present


def _folded(module: nn.Module) -> tuple[np.ndarray, np.ndarray]:
    """Weights with the normalization folded in, shape (time, place, in, out), and biases."""
    if isinstance(module, nn.Conv2d):
        weight, bias = module.weight, module.bias
    else:
        conv, norm = module[0], module[1]  # type: ignore[index]
        scale = norm.weight / torch.sqrt(norm.running_var + norm.eps)
        weight = conv.weight * scale[:, None, None, None]
        bias = norm.bias - norm.running_mean * scale
    assert bias is not None
    arrays = weight.detach().permute(2, 3, 1, 0), bias.detach()
    return arrays[0].float().cpu().numpy(), arrays[1].float().cpu().numpy()


def export(network: HarpNetwork) -> dict[str, np.ndarray]:
    """Return the arrays of the run-time network, half precision."""
    arrays: dict[str, np.ndarray] = {"layout": np.array(LAYOUT)}

    def keep(name: str, module: nn.Module) -> None:
        weight, bias = _folded(module)
        arrays[f"{name}.weight"] = weight.astype(np.float16)
        arrays[f"{name}.bias"] = bias.astype(np.float32)

    keep("stem", network.stem)
    for i, block in enumerate(network.blocks):
        for name, part in block.named_children():
            keep(f"block{i}.{name}", part)
    keep("head", network.head)
    keep("presence", network.presence)
    return arrays
