"""What is in the speech memory: pointers, scripts and frames of invented words.

    0x0000  for each key four phrase pointers (2 bytes each, high byte first)
    0x0080  word pointers (2 bytes each)
    0x0100  scripts, then frames

A script is bytes: high nibble the operation, low nibble its argument. A word is frames
of four bytes; the frame with its stop bit set ends it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.bench.simulated.talker import voice

ADDRESS_BITS = 12
SIZE = 1 << ADDRESS_BITS
PHRASE_TABLE, WORD_TABLE, FIRST_FREE = 0x0000, 0x0080, 0x0100
PHRASES_PER_KEY = 4

OP_END, OP_SAY, OP_PITCH, OP_PAUSE, OP_AGAIN, OP_JUMP = 0, 1, 2, 3, 4, 8
JAMS = (0x7, 0x9, 0xB, 0xD, 0xF)
"""Operations on which the sequencer stops for good; the others not named do nothing."""

# Formants of vowels in Hz, rounded averages of adult speech (phonetics textbooks, from memory)
_VOWELS = (
    (270, 2290, 3010), (530, 1840, 2480), (660, 1720, 2410), (730, 1090, 2440),
    (570, 840, 2410), (300, 870, 2240), (490, 1350, 2200), (420, 2050, 2700),
)


@dataclass(frozen=True)
class Speech:
    """A filled memory.

    Parameters
    ----------
    data : bytes, length SIZE
    phrase_counts : tuple of int
        How many phrases each key has, 2 to 4.
    longest_phrase_s : float
        At the nominal clock.
    """

    data: bytes
    phrase_counts: tuple[int, ...]
    longest_phrase_s: float


def _nearest(table: np.ndarray, value: float) -> int:
    return int(np.argmin(np.abs(table - value)))


def _codes(formants_hz: Sequence[float]) -> tuple[int, int, int]:
    f1_hz, f2_hz, f3_hz = formants_hz
    return (
        _nearest(voice.F1_HZ, f1_hz), _nearest(voice.F2_HZ, f2_hz), _nearest(voice.F3_HZ, f3_hz)
    )  # fmt: skip


def _word(rng: np.random.Generator, syllables: int) -> list[bytes]:
    frames: list[bytes] = []
    pitch = 24.0
    for _ in range(syllables):
        vowel = np.array(_VOWELS[rng.integers(len(_VOWELS))], float)
        glide = np.array(_VOWELS[rng.integers(len(_VOWELS))], float)
        onset = rng.integers(4)
        if onset == 0:
            formants = _codes((700, 1800 + 600 * rng.random(), 3300))
            frames += [voice.pack_frame(0, True, 24, formants)] * 2
            frames.append(voice.pack_frame(12, False, 24, formants, width=2))
        elif onset == 1:
            formants = _codes((800, 2300 - 700 * rng.random(), 3300))
            for energy in (7, 10, 11, 10):
                frames.append(voice.pack_frame(energy, False, 24, formants, width=2))
        elif onset == 2:
            formants = _codes((250, 1100 + 500 * rng.random(), 2300))
            frames += [voice.pack_frame(10, True, int(pitch), formants, width=2)] * 3
        length = int(rng.integers(6, 10))
        slope = rng.uniform(-0.7, 1.1)
        for i in range(length):
            part = max(0.0, (i - length / 3) / length)
            formants = _codes(tuple(vowel + (glide - vowel) * part))
            energy = (12, 13, 14)[min(i, 2)] if i < length - 2 else (11, 8)[i - length + 2]
            frames.append(
                voice.pack_frame(energy, True, int(np.clip(pitch, 4, 52)), formants)
            )
            pitch += slope
    last = bytearray(frames[-1])
    last[0] = (last[0] | 0x80) & ~0x78
    last[3] &= ~0x07
    return [*frames, bytes(last)]


def make_speech(rng: np.random.Generator, keys: int) -> Speech:
    """Fill a memory with words and with 2 to 4 phrases of 0.8 to 1.6 s for each key."""
    words = [_word(rng, int(rng.integers(1, 3))) for _ in range(18)]
    lengths = [len(word) for word in words]
    registers = rng.permutation(np.linspace(-12, 12, keys).round().astype(int))
    scripts: list[list[bytes]] = []
    longest = 0
    for key in range(keys):
        found: list[bytes] = []
        for _ in range(int(rng.integers(2, PHRASES_PER_KEY + 1))):
            aim, frames = int(rng.integers(42, 58)), 0
            register = int(registers[key]) + int(rng.integers(-1, 2))
            script = [OP_PITCH << 4 | (register // 2 + 8) & 15]
            while frames < aim:
                left = [i for i in range(len(words)) if frames + lengths[i] <= 66]
                if not left:
                    break
                pick = left[int(rng.integers(len(left)))]
                script += [OP_SAY << 4 | int(rng.integers(4)), pick]
                frames += lengths[pick]
                if frames < aim and rng.random() < 0.4:
                    script.append(OP_PAUSE << 4 | 2)
                    frames += 2
            longest = max(longest, frames)
            found.append(bytes([*script, OP_END << 4]))
        scripts.append(found)
    data = bytearray(SIZE)
    at = FIRST_FREE
    for key, found in enumerate(scripts):
        starts = []
        for phrase in found:
            starts.append(at)
            data[at : at + len(phrase)] = phrase
            at += len(phrase)
        for number in range(PHRASES_PER_KEY):
            place = PHRASE_TABLE + 2 * (PHRASES_PER_KEY * key + number)
            data[place : place + 2] = starts[number % len(starts)].to_bytes(2, "big")
    for number, word in enumerate(words):
        place = WORD_TABLE + 2 * number
        data[place : place + 2] = at.to_bytes(2, "big")
        block = b"".join(word)
        data[at : at + len(block)] = block
        at += len(block)
    # the rest of the memory repeats the words, as a part too large for its job is often filled
    filled = bytes(data[FIRST_FREE:at])
    while at < SIZE:
        part = filled[: SIZE - at]
        data[at : at + len(part)] = part
        at += len(part)
    frame_s = voice.FRAME_SAMPLES / voice.CHIP_RATE_HZ
    return Speech(bytes(data), tuple(len(f) for f in scripts), longest * frame_s)
