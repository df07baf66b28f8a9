"""How voltages move between two switchings in a circuit of resistors and capacitors.

The solution is exact, not stepped. With C = L L^T from the capacitors and Z the resistances
of the nodes, L^T Z L is symmetric, its eigenvalues are the circuit's time constants, and

    v(t) = v_end + Z L W diag(e^(-t / tau) / tau) W^T q,

where q is, per capacitor, sqrt(C) times how far its voltage is from its last one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


class Transient:
    """A linear circuit on its way to its d.c. point.

    Parameters
    ----------
    end : ndarray, shape (n,)
        The nodes' voltages at the d.c. point.
    impedance_ohm : ndarray, shape (n, n)
    across : ndarray, shape (capacitors, n)
        1 and -1 where a capacitor's first and second end are; an end at a fixed net is left out.
    farads : sequence of float, one per capacitor
    fixed_v : sequence of float, one per capacitor
        What fixed nets add to the voltage of each, its first end over its second.

    Attributes
    ----------
    tau_s : ndarray, shape (capacitors,)
        Time constants, the shortest first; 0 where capacitors are in parallel.
    """

    def __init__(
        self,
        end: np.ndarray,
        impedance_ohm: np.ndarray,
        across: np.ndarray,
        farads: Sequence[float],
        fixed_v: np.ndarray,
    ):
        self._end = end
        self._impedance_ohm = impedance_ohm
        self._across = across
        self._fixed_v = np.asarray(fixed_v, float)
        self._root = np.sqrt(farads)
        spread = impedance_ohm @ (across.T * self._root)
        self.tau_s, self._modes = np.linalg.eigh((across.T * self._root).T @ spread)
        slowest = float(np.max(self.tau_s, initial=0.0))
        self.tau_s[self.tau_s < 1e-14 * slowest] = 0.0
        with np.errstate(divide="ignore"):
            self._rate = np.where(self.tau_s > 0, 1.0 / self.tau_s, 0.0)
        self._shape = spread @ self._modes * self._rate

    def charges(self, levels: np.ndarray) -> np.ndarray:
        """Give every capacitor's voltage for given voltages of the nodes."""
        return self._across @ levels + self._fixed_v

    def after(self, charged: np.ndarray, seconds: float) -> np.ndarray:
        """Give the nodes' voltages some time after a switching.

        Parameters
        ----------
        charged : ndarray, shape (capacitors,)
            The capacitors' voltages at the switching, which it leaves as they are.
        seconds : float, 0 or more

        Returns
        -------
        ndarray, shape (n,)
        """
        away = self._root * (charged - self.charges(self._end))
        return self._end + self._shape @ (np.exp(-seconds * self._rate) * (self._modes.T @ away))

    def filter(self, driven: int, out: int, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
        """Give the digital filter from a current put in at a node to a node's voltage.

        The input is held between samples, as a chip's output is; at the samples the
        result is exact. Its gain at 0 Hz is `impedance_ohm[out, driven]`.

        Parameters
        ----------
        driven, out : int
            Places of the nodes.
        rate_hz : float

        Returns
        -------
        b, a : ndarray
            For `scipy.signal.lfilter`.
        """
        towards = self._modes.T @ (self._root * (self._across @ self._impedance_ohm[:, driven]))
        share = -self._shape[out] * towards
        poles = np.exp(-self._rate / rate_hz)
        heard = (self.tau_s > 0) & (share != 0.0)
        share, poles = share[heard], poles[heard]
        a = np.poly(poles) if len(poles) else np.ones(1)
        b = (self._impedance_ohm[out, driven] + share.sum()) * a
        for i, (part, pole) in enumerate(zip(share, poles, strict=True)):
            others = np.delete(poles, i)
            rest = np.poly(others) if len(others) else np.ones(1)
            b[1:] -= part * (1.0 - pole) * rest
        return b, a
