"""Lays takes over each other: a toy scans its keys every few ms, so its sound starts a bit
sooner or later after each press."""

from __future__ import annotations

import numpy as np
import scipy

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


class Aligner:
    """Finds the shift between takes by cross-correlating what follows the press.

    Parameters
    ----------
    rate_hz : int
        Sample rate of the takes, Hz.
    length_s : float
        Length of sound after the press that is compared, s.
    """

    def __init__(self, rate_hz: int, length_s: float):
        self.rate_hz = rate_hz
        self.down = max(1, round(rate_hz / T.align_rate_hz))
        self.length = round(length_s * rate_hz / self.down)
        self.most = round(T.most_shift_s * rate_hz / self.down)
        self.size = scipy.fft.next_fast_len(2 * self.length, real=True)
        self._heads: dict[int, np.ndarray] = {}
        self._next = 0

    def learn(self, samples: np.ndarray, press: int) -> tuple[int, int]:
        """Give a clean take's shift, and the number of the beginning that it has.

        It is remembered if it begins like none before.
        """
        shift, likeness, head = self._found(samples, press)
        if likeness >= T.same_beginning:
            return shift, head
        self._heads[self._next] = self._spectrum(samples, press)
        self._next += 1
        return 0, self._next - 1

    def __len__(self) -> int:
        return len(self._heads)

    def forget(self, head: int) -> None:
        """Forget a beginning."""
        del self._heads[head]

    def shift(self, samples: np.ndarray, press: int) -> tuple[int, float]:
        """Give how much later this take's sound starts than the one it is most like.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
        press : int
            Sample of the press.

        Returns
        -------
        shift : int
            Samples; 0 where nothing is alike.
        likeness : float
            Normalised correlation, at most 1.
        """
        shift, likeness, _ = self._found(samples, press)
        return shift if likeness >= T.same_beginning else 0, likeness

    def _found(self, samples: np.ndarray, press: int) -> tuple[int, float, int]:
        """Give shift, likeness and number of the beginning that is most like a take's."""
        spectrum = self._spectrum(samples, press)
        best, likeness, which = 0, 0.0, -1
        for number, head in self._heads.items():
            across = scipy.fft.irfft(spectrum * np.conj(head), n=self.size)
            near = np.concatenate([across[-self.most :], across[: self.most + 1]])
            at = int(np.argmax(near))
            if near[at] > likeness:
                best, likeness, which = at - self.most, float(near[at]), number
        return best * self.down, likeness, which

    def _spectrum(self, samples: np.ndarray, press: int) -> np.ndarray:
        """Give the spectrum of the sound after the press, at a norm of one in time."""
        part = samples[press : press + self.length * self.down]
        # Means of neighbours are low-pass enough to find a shift with.
        part = part[: len(part) // self.down * self.down].reshape(-1, self.down).mean(axis=1)
        return scipy.fft.rfft(part / max(float(np.linalg.norm(part)), 1e-9), n=self.size)


def shifted(samples: np.ndarray, shift: int) -> np.ndarray:
    """Give a take moved so that its sound starts `shift` samples sooner."""
    if shift >= 0:
        return samples[shift:]
    return np.concatenate([np.zeros(-shift, dtype=samples.dtype), samples])
