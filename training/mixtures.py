"""Examples from events: sound, spectra and labels of a batch, on the device that trains.

Signal chain of an example: harp (amplifier, tone, room), band (tone, room), talk (tone), sum,
noise and hum, band limit, clipping, codec. The codec drops what a band's strongest line masks, as
perceptual codecs do; the others are in the functions' docstrings.
"""

from __future__ import annotations

import math

import numpy as np
import torch

from trainer.transcript.pitch_spectra import (
    BINS_PER_SEMITONE,
    HOP,
    LOUD_QUANTILE,
    LOUD_VALUE,
    LOWEST_MIDI,
    PITCHES,
    RANGE_DB,
    RATE,
    SEMITONES,
    WINDOWS,
    log_matrix,
    shifts_of_harmonics,
)
from training.players import FIELDS, HARP, MODELLED

Tensor = torch.Tensor
REED, DECAYING, SUSTAINED = 0, 1, 2
MAX_SAMPLES = 24_000_000
"""Samples of events that are rendered at a time."""


REED_MIDIS = range(44, 104, 2)
"""Pitches of the modelled reeds."""
REED_SAMPLES = round(1.5 * RATE)
"""Length of a modelled reed."""


def bank_rows(path: str, modelled: int) -> np.ndarray:
    """Return the rows of a bank and of modelled voices; their starts count separately."""
    with np.load(path) as data:
        rows = data["rows"].copy()
    size = len(REED_MIDIS)
    reeds = [
        (REED, MODELLED + voice, midi, (voice * size + i) * REED_SAMPLES, REED_SAMPLES)
        for voice in range(modelled)
        for i, midi in enumerate(REED_MIDIS)
    ]
    return np.concatenate([rows, np.array(reeds, np.int64).reshape(-1, 5)])


class SoundBank:
    """The notes of a bank on the device, with modelled reeds."""

    def __init__(self, path: str, device: str, modelled: int, seed: int) -> None:
        """Load a bank and add modelled reeds.

        Args:
            path: file of `training.bank`.
            device: of torch.
            modelled: number of modelled voices.
            seed: of these voices.
        """
        with np.load(path) as data:
            recorded_rows, pcm, companded = len(data["rows"]), data["pcm"], data["companded"]
        decoded = (companded.astype(np.float32) - 128.0) / 127.0
        decoded = np.sign(decoded) * (256.0 ** np.abs(decoded) - 1.0) / 255.0
        rows = bank_rows(path, modelled)
        is_modelled = np.arange(len(rows)) >= recorded_rows
        rows[~is_modelled & (rows[:, 0] != REED), 3] += len(pcm)
        recorded = np.concatenate([pcm.astype(np.float32) / 32767.0, decoded.astype(np.float32)])
        reeds = modelled_reeds(modelled, seed, device)
        rows[is_modelled, 3] += len(recorded)
        self.rows = rows
        self.samples = torch.cat([torch.from_numpy(recorded).to(device), reeds, reeds.new_zeros(8)])
        self.starts = torch.from_numpy(self.rows[:, 3]).to(device)
        self.lengths = torch.from_numpy(self.rows[:, 4]).to(device)
        self.kinds = torch.from_numpy(self.rows[:, 0]).to(device)


def modelled_reeds(voices: int, seed: int, device: str) -> Tensor:
    """Return modelled free reeds, one after another.

    Partials of random roll-off (3 to 13 dB an octave, scattered by some dB and by broad
    resonances), that rise the later the higher they are; a pitch that begins up to 60 cents flat; a
    level that fluctuates; breath noise. A fifth of the voices have a second reed beside the first.
    """
    random = np.random.default_rng(seed)
    length = REED_SAMPLES
    t = torch.arange(length, device=device, dtype=torch.float32) / RATE
    sounds = []
    for _ in range(voices):
        slope, scatter = random.uniform(3.0, 13.0), random.uniform(1.0, 7.0)
        even, glide = random.normal(0.0, 4.0), random.uniform(0.0, 60.0)
        settle, rise = random.uniform(0.008, 0.04), random.uniform(0.003, 0.05)
        resonances = [
            (random.uniform(5.5, 13.0), random.normal(0.0, 7.0), random.uniform(0.3, 1.2))
            for _ in range(3)
        ]
        breath_db = random.uniform(-55.0, -26.0)
        beating = random.uniform(1.0, 12.0) if random.random() < 0.2 else 0.0
        common = random.normal(0.0, scatter, 64)
        for midi in REED_MIDIS:
            f0 = 440.0 * 2.0 ** ((midi - 69) / 12.0)
            count = min(40, int(0.47 * RATE / f0))
            orders = np.arange(1, count + 1)
            octaves = np.log2(orders * f0)
            db = -slope * np.log2(orders) + common[:count] + random.normal(0.0, 2.0, count)
            db += np.where(orders % 2 == 0, even, 0.0)
            for centre, gain, width in resonances:
                db += gain * np.exp(-0.5 * ((octaves - centre) / width) ** 2)
            db[0] += max(0.0, float(db.max()) - db[0] - 10.0)  # a reed's fundamental is strong
            amplitude = torch.from_numpy(10.0 ** (db / 20.0)).float().to(device)
            k = torch.from_numpy(orders).float().to(device)
            flat = 2.0 ** (-glide / 1200.0) - 1.0
            cycles = f0 * (t + flat * settle * (1.0 - torch.exp(-t / settle)))
            phase = torch.from_numpy(random.uniform(0.0, 6.28, count)).float().to(device)
            tau = rise * (1.0 + 0.3 * k)
            envelope = 1.0 - torch.exp(-t[None, :] / tau[:, None])
            wave = (
                amplitude[:, None]
                * envelope
                * torch.sin(2.0 * math.pi * k[:, None] * cycles[None, :] + phase[:, None])
            ).sum(0)
            if beating:
                second = f0 * t * 2.0 ** (beating / 1200.0)
                wave = wave + (
                    amplitude[:, None]
                    * envelope
                    * torch.sin(2.0 * math.pi * k[:, None] * second[None, :] + 2.0 * phase[:, None])
                ).sum(0)
            level = 1.0 + 0.08 * torch.sin(
                2.0 * math.pi * random.uniform(2.0, 8.0) * t + random.uniform(0.0, 6.28)
            )
            wave = wave * level
            wave = wave / wave.square().mean().sqrt()
            noise = torch.from_numpy(np.diff(random.standard_normal(length + 1))).float().to(device)
            wave = wave + noise * 0.7 * 10.0 ** (breath_db / 20.0)
            sounds.append(0.1 * wave)
    return torch.cat(sounds) if sounds else torch.zeros(0, device=device)


def _columns(events: np.ndarray, device: str) -> dict[str, Tensor]:
    tensor = torch.from_numpy(events).to(device)
    return {name: tensor[:, i].float() for i, name in enumerate(FIELDS)}


def _ratio(e: dict[str, Tensor], t: Tensor, i: Tensor) -> Tensor:
    """Ratio of the pitch to the recorded note's at seconds `t` of events `i`."""
    first = ((t - e["at0"][i]) / (e["at1"] - e["at0"])[i]).clamp(0.0, 1.0)
    second = ((t - e["at2"][i]) / (e["at3"] - e["at2"])[i]).clamp(0.0, 1.0)
    return (
        e["rate0"][i] + (e["rate1"] - e["rate0"])[i] * first + (e["rate2"] - e["rate1"])[i] * second
    )


def _integral(e: dict[str, Tensor], t: Tensor, i: Tensor) -> Tensor:
    """Integral of the ratio from 0 to `t`, seconds."""
    total = e["rate0"][i] * t
    for a, b, low, high in (("at0", "at1", "rate0", "rate1"), ("at2", "at3", "rate1", "rate2")):
        span = (e[b] - e[a])[i]
        inside = (t - e[a][i]).clamp(min=0.0)
        ramp = torch.minimum(inside, span)
        total = total + (e[high] - e[low])[i] * (0.5 * ramp * ramp / span + inside - ramp)
    return total


def render(events: np.ndarray, bank: SoundBank, examples: int, length: int) -> Tensor:
    """Return the sound of each group, shape (examples, groups, length)."""
    device = str(bank.samples.device)
    out = torch.zeros(examples * 3 * length + 1, device=device)
    if not len(events):
        return out[:-1].view(examples, 3, length)
    counts = np.ceil((events[:, 4] + events[:, 5]) * RATE).astype(np.int64)
    pieces = np.cumsum(counts) // MAX_SAMPLES
    for piece in np.unique(pieces):
        chosen = pieces == piece
        e = _columns(events[chosen], device)
        count = torch.from_numpy(counts[chosen]).to(device)
        i = torch.repeat_interleave(torch.arange(len(count), device=device), count)
        n = torch.arange(len(i), device=device) - (torch.cumsum(count, 0) - count)[i]
        t = n.float() / RATE
        source = e["source"].long()
        angle = 2.0 * math.pi * e["vibrato_hz"][i] * t + e["phase"][i]
        swing = e["vibrato"][i] / (2.0 * math.pi * e["vibrato_hz"][i])
        seconds = _integral(e, t, i) - e["rate0"][i] * swing * (
            torch.cos(angle) - torch.cos(e["phase"][i])
        )
        position = (e["skip"][i] + seconds) * RATE
        size = bank.lengths[source].float()[i]
        looped = ((bank.kinds[source] == REED) | (bank.kinds[source] == SUSTAINED))[i]
        last, first = 0.85 * size, 0.4 * size
        span = last - first
        beyond = (position - last).clamp(min=0.0) % (2.0 * span)
        folded = torch.where(beyond < span, last - beyond, first + (beyond - span))
        position = torch.where(looped & (position > last), folded, position)
        inside = position < size - 2.0
        position = torch.where(inside, position, torch.zeros_like(position))
        whole = position.floor()
        part = position - whole
        index = bank.starts[source][i] + whole.long()
        value = bank.samples[index] * (1.0 - part) + bank.samples[index + 1] * part
        envelope = (t / e["fade"][i]).clamp(max=1.0)
        envelope = envelope * (1.0 - (t - e["length"][i]) / e["release"][i]).clamp(0.0, 1.0)
        shake = 0.5 + 0.5 * torch.sin(2.0 * math.pi * e["tremolo_hz"][i] * t + e["phase"][i])
        envelope = envelope * (1.0 - e["tremolo"][i] * shake) * e["gain"][i]
        at = (e["start"] * RATE).long()[i] + n
        row = (e["example"] * 3 + e["group"]).long()[i] * length
        valid = (at >= 0) & (at < length) & inside
        target = torch.where(valid, row + at, torch.full_like(at, len(out) - 1))
        out.index_add_(0, target, value * envelope * valid)
    return out[:-1].view(examples, 3, length)


def labels(
    events: np.ndarray, examples: int, frames: int, device: str
) -> tuple[Tensor, Tensor, Tensor]:
    """Return activation, onset and presence.

    Shapes (examples, frames, pitches), (examples, frames, half steps), (examples, frames). An
    activation is 1 at the pitch and falls to 0 at 50 cents; an onset is 1 at its frame.
    """
    activation = torch.zeros(examples * frames * PITCHES, device=device)
    onset = torch.zeros(examples * frames * SEMITONES, device=device)
    wanted = events[(events[:, FIELDS.index("labelled")] > 0) & (events[:, 1] == HARP)]
    if len(wanted):
        e = _columns(wanted, device)
        first = torch.ceil(e["start"] * RATE / HOP).long()
        last = torch.floor((e["start"] + e["length"]) * RATE / HOP).long()
        count = (last - first + 1).clamp(min=1)
        i = torch.repeat_interleave(torch.arange(len(count), device=device), count)
        n = torch.arange(len(i), device=device) - (torch.cumsum(count, 0) - count)[i]
        frame = first[i] + n
        t = (frame.float() * HOP / RATE - e["start"][i]).clamp(min=0.0)
        midi = e["midi"][i] + 12.0 * torch.log2(_ratio(e, t, i) / e["rate0"][i])
        place = (midi - LOWEST_MIDI) * BINS_PER_SEMITONE + 1.0
        valid = (frame >= 0) & (frame < frames)
        base = (e["example"].long()[i] * frames + frame) * PITCHES
        for by in (-1, 0, 1):
            nearest = place.round() + by
            value = (1.0 - (place - nearest).abs() / 1.5).clamp(min=0.0)
            good = valid & (nearest >= 0) & (nearest < PITCHES)
            index = (base + nearest.long())[good]
            activation.scatter_reduce_(0, index, value[good], "amax")
        begins_flat = (e["at0"] == 0.0) & (e["rate0"] < e["rate1"])
        settled = e["midi"] + torch.where(
            begins_flat, 12.0 * torch.log2(e["rate1"] / e["rate0"]), torch.zeros_like(e["midi"])
        )
        half = settled.round() - LOWEST_MIDI
        exact = e["start"] * RATE / HOP
        for by in (-1, 0, 1):
            at = exact.round() + by
            value = (1.0 - (at - exact).abs() / 1.5).clamp(min=0.0)
            good = (at >= 0) & (at < frames) & (half >= 0) & (half < SEMITONES) & (exact >= 0)
            index = ((e["example"] * frames + at) * SEMITONES + half).long()[good]
            onset.scatter_reduce_(0, index, value[good], "amax")
    shaped = activation.view(examples, frames, PITCHES)
    return shaped, onset.view(examples, frames, SEMITONES), (shaped.amax(-1) > 0.0).float()


class Chain:
    """The signal chain of a batch, with random settings from a seed."""

    def __init__(self, device: str, seed: int) -> None:
        """Prepare the source of random numbers."""
        self.device = device
        self.random = torch.Generator(device=device)
        self.random.manual_seed(seed)

    def uniform(self, count: int, low: float, high: float) -> Tensor:
        """Draw numbers, shape (count, 1)."""
        drawn = torch.rand(count, 1, generator=self.random, device=self.device)
        return low + (high - low) * drawn

    def chance(self, count: int, probability: float) -> Tensor:
        """Draw truth values, shape (count, 1)."""
        return self.uniform(count, 0.0, 1.0) < probability

    def tone(self, count: int, hz: Tensor, depth: float) -> Tensor:
        """Draw smooth responses, shape (count, bins)."""
        octaves = torch.log2(hz.clamp(min=30.0) / 30.0)[None, :]
        db = torch.zeros(count, len(hz), device=self.device)
        for _ in range(3):
            cycles, phase = self.uniform(count, 0.05, 0.6), self.uniform(count, 0.0, 6.28)
            db += self.uniform(count, -depth, depth) * torch.sin(6.28 * cycles * octaves + phase)
        return 10.0 ** (db / 20.0)

    def lowpass(self, count: int, hz: Tensor, low: float, high: float, order: float) -> Tensor:
        """Draw low-pass responses, shape (count, bins)."""
        cutoff = low * (high / low) ** self.uniform(count, 0.0, 1.0)
        return 1.0 / (1.0 + (hz[None, :] / cutoff) ** order)

    def room(self, count: int, size: int) -> Tensor:
        """Draw the responses of rooms: the direct sound, echoes and decaying noise."""
        t = torch.arange(size, device=self.device) / RATE
        rt60 = 0.12 * (2.4 / 0.12) ** self.uniform(count, 0.0, 1.0)
        noise = torch.randn(count, size, generator=self.random, device=self.device)
        keep = self.uniform(count, 0.2, 0.9)  # a first-order low pass: walls absorb high sound
        noise = noise + keep * noise.roll(1, 1) + keep * keep * noise.roll(2, 1)
        delay = self.uniform(count, 0.001, 0.02)
        tail = noise * 10.0 ** (-3.0 * t / rt60) * (t > delay)
        sparse = torch.rand(count, size, generator=self.random, device=self.device) < 0.004
        early = tail * sparse * (t < 0.08) * 6.0
        tail = tail + early
        ratio_db = self.uniform(count, -5.0, 15.0)
        tail = tail * 10.0 ** (-ratio_db / 20.0) / tail.square().sum(1, keepdim=True).sqrt()
        tail[:, 0] = 1.0
        return tail / tail.square().sum(1, keepdim=True).sqrt()

    def mix(self, sound: Tensor) -> Tensor:
        """Return the mixture of rendered groups, shape (examples, length)."""
        count, _, length = sound.shape
        size = 1 << math.ceil(math.log2(1.4 * length))
        hz = torch.fft.rfftfreq(size, 1.0 / RATE, device=self.device)
        harp, band, talk = (_levelled(sound[:, group]) for group in range(3))
        drive = 10.0 ** (self.uniform(count, -6.0, 26.0) / 20.0)
        driven = torch.tanh(harp * drive) / torch.tanh(drive)
        amplified = self.chance(count, 0.3)
        harp = torch.where(amplified, driven, harp)
        tone = self.tone(count, hz, 7.0)
        speaker = self.lowpass(count, hz, 2_500.0, 8_000.0, 6.0)
        tone = torch.where(amplified | self.chance(count, 0.15), tone * speaker, tone)
        rooms = [torch.fft.rfft(self.room(count, size // 4), size) for _ in range(2)]
        dry = torch.ones_like(rooms[0])
        wet = torch.where(self.chance(count, 0.55), rooms[0], dry)
        band_wet = torch.where(self.chance(count, 0.3), rooms[0], dry)
        band_wet = torch.where(self.chance(count, 0.3), rooms[1], band_wet)
        harp = torch.fft.irfft(torch.fft.rfft(harp, size) * tone * wet, size)[:, :length]
        band = torch.fft.irfft(
            torch.fft.rfft(band, size) * self.tone(count, hz, 6.0) * band_wet, size
        )[:, :length]
        talk = torch.fft.irfft(torch.fft.rfft(talk, size) * self.tone(count, hz, 6.0) * wet, size)[
            :, :length
        ]
        harp, band, talk = _levelled(harp), _levelled(band), _levelled(talk)
        over = self.uniform(count, -6.0, 10.0) + self.uniform(count, -3.0, 12.0)
        talk_db = self.uniform(count, -8.0, 8.0)
        mixed = harp + band * 10.0 ** (-over / 20.0) + talk * 10.0 ** (talk_db / 20.0)
        mixed = self._noise(mixed, hz, size)
        mixed = self._band_limit(mixed, hz, size)
        peak = mixed.abs().amax(1, keepdim=True) + 1e-6
        ceiling = peak * self.uniform(count, 0.25, 0.9)
        clipped = torch.minimum(torch.maximum(mixed, -ceiling), ceiling)
        mixed = torch.where(self.chance(count, 0.13), clipped, mixed)
        return torch.where(self.chance(count, 0.2), self._codec(mixed), mixed)

    def _noise(self, mixed: Tensor, hz: Tensor, size: int) -> Tensor:
        count, length = mixed.shape
        white = torch.randn(count, length, generator=self.random, device=self.device)
        slope = self.uniform(count, -1.0, 0.0)
        shape = (hz.clamp(min=40.0)[None, :] / 1000.0) ** slope
        noise = _levelled(torch.fft.irfft(torch.fft.rfft(white, size) * shape, size)[:, :length])
        db = torch.where(
            self.chance(count, 0.35),
            self.uniform(count, -40.0, -8.0),
            self.uniform(count, -80.0, -40.0),
        )
        level = (mixed.square().mean(1, keepdim=True)).sqrt().clamp(min=1e-3)
        mixed = mixed + level * noise * 10.0 ** (db / 20.0)
        t = torch.arange(length, device=self.device)[None, :] / RATE
        mains = torch.where(self.chance(count, 0.5), 50.0, 60.0)
        hum = torch.zeros_like(mixed)
        for order in range(1, 7):
            hum += torch.sin(6.2832 * mains * order * t + self.uniform(count, 0.0, 6.28)) / order
        gain = 10.0 ** (self.uniform(count, -45.0, -15.0) / 20.0) * self.chance(count, 0.12)
        return mixed + level * hum * gain

    def _band_limit(self, mixed: Tensor, hz: Tensor, size: int) -> Tensor:
        count, length = mixed.shape
        low = self.lowpass(count, hz, 3_000.0, 9_000.0, 24.0)
        cut = 60.0 * 6.0 ** self.uniform(count, 0.0, 1.0)
        high = 1.0 / (1.0 + (cut / hz.clamp(min=1.0)[None, :]) ** 6.0)
        ones = torch.ones_like(low)
        response = torch.where(self.chance(count, 0.2), low, ones)
        response = response * torch.where(self.chance(count, 0.12), high, ones)
        return torch.fft.irfft(torch.fft.rfft(mixed, size) * response, size)[:, :length]

    def _codec(self, mixed: Tensor) -> Tensor:
        count, length = mixed.shape
        window = torch.hann_window(1024, device=self.device)
        spectrum = torch.stft(mixed, 1024, 256, window=window, return_complex=True)
        power = spectrum.abs()
        masking = torch.nn.functional.max_pool1d(
            power.transpose(1, 2), 15, stride=1, padding=7
        ).transpose(1, 2)
        below = 10.0 ** (self.uniform(count, -42.0, -16.0) / 20.0)[:, :, None]
        kept = spectrum * (power > masking * below)
        return torch.istft(kept, 1024, 256, window=window, length=length)


def _levelled(sound: Tensor) -> Tensor:
    """Sound at an RMS level of 1 where it sounds; silence stays."""
    power = sound.square()
    loud = power > 1e-4 * power.amax(1, keepdim=True)
    mean = (power * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp(min=1)
    return sound / mean.sqrt().clamp(min=1e-5)


class Features:
    """Spectra of :mod:`trainer.transcript.pitch_spectra` on the device."""

    def __init__(self, device: str) -> None:
        """Prepare the filters."""
        self.matrices = [torch.from_numpy(log_matrix(window)).to(device) for window in WINDOWS]
        self.tapers = [
            torch.from_numpy((np.hanning(w + 1)[:-1] * 2.0 / w).astype(np.float32)).to(device)
            for w in WINDOWS
        ]

    def __call__(self, sound: Tensor, shift: Tensor) -> Tensor:
        """Return the stack, shape (examples, channels, frames, pitches).

        Args:
            sound: shape (examples, length).
            shift: of the normalized level of each example, shape (examples, 1).
        """
        frames = 1 + sound.shape[1] // HOP
        spectra = []
        for window, matrix, taper in zip(WINDOWS, self.matrices, self.tapers, strict=True):
            padded = torch.nn.functional.pad(sound, (window // 2, window // 2 + HOP))
            framed = padded.unfold(1, window, HOP)[:, :frames] * taper
            power = torch.fft.rfft(framed).abs().square()
            spectra.append(10.0 * torch.log10(power @ matrix + 1e-10))
        loud = spectra[0].amax(2).quantile(LOUD_QUANTILE, dim=1)[:, None, None]
        below, shifts = shifts_of_harmonics()
        parts = []
        for spectrum in spectra:
            scaled = (spectrum - loud) / RANGE_DB + LOUD_VALUE + shift[:, :, None]
            scaled = scaled.clamp(0.0, 1.0)
            parts += [scaled[:, :, below + by : below + by + PITCHES] for by in shifts]
        return torch.stack(parts, 1)
