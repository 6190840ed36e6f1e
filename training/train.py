"""Train the network.

    python -m training.train BANK.npz OUT --seconds 540

Everything follows from `--seed`, except how many steps fit into the time. The learning rate follows
the time that is left (Loshchilov and Hutter 2017, cosine). Writes `harp.npz`, the run-time weights,
and `state.pt`, from which `--resume` goes on.
"""

from __future__ import annotations

import argparse
import copy
import math
import multiprocessing
import time
from collections import deque
from collections.abc import Iterator
from multiprocessing.pool import AsyncResult, Pool
from pathlib import Path

import numpy as np
import torch
from torch.nn.functional import binary_cross_entropy_with_logits as cross_entropy

from trainer.transcript.pitch_spectra import HOP, RATE
from training.mixtures import Chain, Features, SoundBank, bank_rows, labels, render
from training.network import HarpNetwork, export
from training.players import Bank, draw_batch

_bank: Bank | None = None


def _prepare(rows: np.ndarray) -> None:
    global _bank
    _bank = Bank(rows)


def _draw(job: tuple[int, int, float]) -> np.ndarray:
    assert _bank is not None
    seed, examples, seconds = job
    return draw_batch(_bank, seed, examples, seconds)


def batches(
    pool: Pool, seed: int, examples: int, seconds: float, ahead: int
) -> Iterator[np.ndarray]:
    """Yield events of batches, drawn by other processes."""
    waiting: deque[AsyncResult] = deque()
    number = seed * 1_000_000
    while True:
        while len(waiting) < ahead:
            waiting.append(pool.apply_async(_draw, ((number, examples, seconds),)))
            number += 1
        yield waiting.popleft().get()


def main() -> None:
    """Train for some time."""
    parser = argparse.ArgumentParser(prog="python -m training.train")
    parser.add_argument("bank")
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=540.0, help="time to train")
    parser.add_argument("--examples", type=int, default=64, help="examples in a batch")
    parser.add_argument("--length", type=float, default=4.0, help="seconds of an example")
    parser.add_argument("--width", type=int, default=48)
    parser.add_argument("--rate", type=float, default=2e-3, help="highest learning rate")
    parser.add_argument("--workers", type=int, default=14)
    parser.add_argument("--modelled", type=int, default=40, help="modelled voices")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    options = parser.parse_args()
    begun = time.monotonic()
    torch.manual_seed(options.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    device = options.device
    # The processes start before the accelerator is used, so that they can share this one's memory.
    context = multiprocessing.get_context("fork")
    rows = bank_rows(options.bank, options.modelled)
    pool = context.Pool(options.workers, _prepare, (rows,))
    drawn = batches(pool, options.seed, options.examples, options.length, 3 * options.workers)
    bank = SoundBank(options.bank, device, options.modelled, options.seed)
    print(f"{len(bank.rows)} notes after {time.monotonic() - begun:.1f} s", flush=True)
    features = Features(device)
    network = HarpNetwork(options.width).to(device)
    if options.resume:
        network.load_state_dict(torch.load(options.resume, map_location=device))
    network = network.to(memory_format=torch.channels_last)
    averaged = copy.deepcopy(network)
    optimizer = torch.optim.AdamW(network.parameters(), options.rate, weight_decay=1e-3)
    length = round(options.length * RATE)
    frames = 1 + length // HOP
    options.out.mkdir(parents=True, exist_ok=True)
    totals = np.zeros(3)
    spent = np.zeros(3)
    step = reported = 0
    saved = time.monotonic()
    started = time.monotonic()
    while True:
        elapsed = time.monotonic() - begun
        if elapsed > options.seconds:
            break
        marks = [time.monotonic()]
        events = next(drawn)
        marks.append(time.monotonic())
        with torch.no_grad():
            chain = Chain(device, options.seed * 7_919 + step)
            sound = chain.mix(render(events, bank, options.examples, length))
            wanted = labels(events, options.examples, frames, device)
            shift = 0.08 * torch.randn(options.examples, 1, generator=chain.random, device=device)
            stack = features(sound, shift).to(memory_format=torch.channels_last)
        if device == "cuda":
            torch.cuda.synchronize()
        marks.append(time.monotonic())
        for group in optimizer.param_groups:
            group["lr"] = options.rate * min(
                1.0,
                (step + 1) / 200,
                0.5 + 0.5 * math.cos(math.pi * min(1.0, elapsed / options.seconds)) + 0.01,
            )
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            activation, onset, present = network(stack)
        losses = (
            cross_entropy(activation.float(), wanted[0], reduction="none").sum(2).mean(),
            cross_entropy(
                onset.float(),
                wanted[1],
                reduction="none",
                pos_weight=torch.tensor(2.0, device=device),
            )
            .sum(2)
            .mean(),
            cross_entropy(present.float(), wanted[2]),
        )
        loss = losses[0] + losses[1] + 0.5 * losses[2]
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimizer.step()
        step += 1
        keep = min(0.998, 1.0 - 1.0 / (step + 1))
        with torch.no_grad():
            for mean, now in zip(
                averaged.state_dict().values(), network.state_dict().values(), strict=True
            ):
                if mean.is_floating_point():
                    mean.lerp_(now, 1.0 - keep)
                else:
                    mean.copy_(now)
        if device == "cuda" and step % 10 == 0:
            torch.cuda.synchronize()
        marks.append(time.monotonic())
        spent += np.diff(marks)
        if step % 10 == 0 or step < 3:
            totals += [float(value) for value in losses]
            reported += 1
        if step % 100 == 0 or step in (1, 2, 10, 30):
            a, o, p = totals / max(1, reported)
            print(
                f"step {step}, {elapsed:.0f} s: activation {a:.3f},"
                f" onset {o:.3f}, presence {p:.3f}"
                f"; ms a step: draw {1e3 * spent[0] / step:.0f}, sound {1e3 * spent[1] / step:.0f},"
                f" learn {1e3 * spent[2] / step:.0f}",
                flush=True,
            )
            totals, reported = np.zeros(3), 0
        if time.monotonic() - saved > 90.0:
            _save(averaged, options.out)
            saved = time.monotonic()
    _save(averaged, options.out)
    print(f"{step} steps in {time.monotonic() - started:.0f} s", flush=True)
    pool.terminate()


def _save(network: HarpNetwork, folder: Path) -> None:
    network.eval()
    np.savez(folder / "harp.npz", **export(network))
    torch.save(network.state_dict(), folder / "state.pt")


if __name__ == "__main__":
    main()
