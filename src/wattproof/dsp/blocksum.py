"""Sums of samples times harmonics of a tone, computed block by block so that a matrix product does the work.

Time runs as m = n - (N - 1)/2, so that even and odd columns part. A phasor factorises over blocks of L samples:
exp(-jhw(m_b + l)) = exp(-jhw m_b) exp(-jhw l), and so the N x 2H design matrix of a tone fit never has to exist.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

_BLOCK = 1024


@dataclass(frozen=True, kw_only=True)
class BlockClock:
    """The time axis of a record of `n_samples`, cut into `n_blocks` whole blocks and a rest shorter than one."""

    n_samples: int

    @property
    def n_blocks(self) -> int:
        """Whole blocks."""
        return self.n_samples // _BLOCK

    @property
    def n_rest(self) -> int:
        """Samples after the last whole block."""
        return self.n_samples % _BLOCK

    @property
    def centre(self) -> float:
        """Index of the record's centre, samples."""
        return (self.n_samples - 1) / 2

    @property
    def half(self) -> float:
        """Half the record, samples, but one at least: the unit of time in which drift is a polynomial."""
        return max(self.centre, 1.0)

    def pieces(self) -> list[tuple[Real, Real]]:
        """Give (block starts, offsets within a block) of the whole blocks and of the rest; m = start + offset."""
        starts: Real = np.arange(float(self.n_blocks)) * _BLOCK - self.centre
        whole: tuple[Real, Real] = (starts, np.arange(float(_BLOCK)))
        rest: tuple[Real, Real] = (np.array([self.n_blocks * _BLOCK - self.centre]), np.arange(float(self.n_rest)))
        return [piece for piece in (whole, rest) if piece[0].size and piece[1].size]

    def split(self, samples: Real) -> list[Real]:
        """Cut samples (..., N) into arrays (..., blocks, offsets) that match `pieces`; views wherever possible."""
        edge = self.n_blocks * _BLOCK
        whole = samples[..., :edge].reshape(*samples.shape[:-1], self.n_blocks, _BLOCK)
        rest = samples[..., np.newaxis, edge:]
        return [part for part in (whole, rest) if part.shape[-1] and part.shape[-2]]


def moments(clock: BlockClock, angle_rad: Real, highest: int) -> Complex:
    """Sum m**k exp(j angle m) over the record for k = 0 .. `highest`.

    Parameters
    ----------
    clock : BlockClock
    angle_rad : Real of shape (n,), radians a sample
    highest : int >= 0

    Returns
    -------
    Complex of shape (highest + 1, n)
    """
    total = np.zeros((highest + 1, angle_rad.size), dtype=complex)
    for starts, offsets in clock.pieces():
        outer = np.exp(1j * np.outer(angle_rad, starts))
        inner = np.exp(1j * np.outer(angle_rad, offsets))
        by_start = np.stack([(outer * starts**k).sum(axis=1) for k in range(highest + 1)])
        by_offset = np.stack([(inner * offsets**k).sum(axis=1) for k in range(highest + 1)])
        for k in range(highest + 1):
            for i, ways in enumerate(_binomial(k)):
                total[k] += ways * by_start[k - i] * by_offset[i]
    return total


def correlate(
    clock: BlockClock, samples: Real, *, angle_rad: float, n_harmonics: int, with_slope: bool, highest: int
) -> tuple[Complex, Complex | None, Real]:
    """Correlate channels with the harmonics of a tone and with powers of time, in one pass over the samples.

    Parameters
    ----------
    clock : BlockClock
    samples : Real of shape (n_channels, N)
    angle_rad : float
        The tone's angular frequency, radians a sample.
    n_harmonics : int >= 1
    with_slope : bool
        Also give the sums weighted by m, which a frequency update needs.
    highest : int >= 0
        Highest power of time.

    Returns
    -------
    sums, sloped : Complex of shape (n_channels, n_harmonics)
        sum of y exp(-jhwm) and, if asked for, of m y exp(-jhwm), h = 1 .. n_harmonics.
    low : Real of shape (n_channels, highest + 1)
        sum of m**k y.
    """
    order = np.arange(1, n_harmonics + 1)
    sums = np.zeros((samples.shape[0], n_harmonics), dtype=complex)
    sloped = np.zeros_like(sums) if with_slope else None
    low = np.zeros((samples.shape[0], highest + 1))
    for (starts, offsets), part in zip(clock.pieces(), clock.split(samples), strict=True):
        phase = np.outer(offsets, order) * angle_rad
        basis = np.hstack([np.cos(phase), -np.sin(phase)])
        powers = np.stack([offsets**k for k in range(highest + 1)], axis=1)
        columns = [powers, basis, basis * offsets[:, np.newaxis]] if with_slope else [powers, basis]
        product = part @ np.hstack(columns)
        turn = np.exp(-1j * np.outer(starts, order) * angle_rad)
        inner = _fold(product[..., highest + 1 : highest + 1 + 2 * n_harmonics])
        sums += np.einsum("cbh,bh->ch", inner, turn)
        if sloped is not None:
            sloped += np.einsum("cbh,bh->ch", inner, turn * starts[:, np.newaxis])
            sloped += np.einsum("cbh,bh->ch", _fold(product[..., highest + 1 + 2 * n_harmonics :]), turn)
        for k in range(highest + 1):
            for i, ways in enumerate(_binomial(k)):
                low[:, k] += ways * (product[..., i] @ starts ** (k - i))
    return sums, sloped, low


def synthesise(clock: BlockClock, phasor: Complex, *, angle_rad: float, slow: Real | None = None) -> Real:
    """Sum a slow polynomial and Re(phasor_h exp(jhwm)), h = 1 .., for one channel.

    Parameters
    ----------
    clock : BlockClock
    phasor : Complex of shape (n_harmonics,)
        Peak amplitudes and phases at the record's centre.
    angle_rad : float
        The tone's angular frequency, radians a sample.
    slow : Real of shape (3,) or None
        Coefficients of 1, m and m**2; none when left out.

    Returns
    -------
    Real of shape (N,)
    """
    order = np.arange(1, phasor.size + 1)
    c0, c1, c2 = (0.0, 0.0, 0.0) if slow is None else slow
    parts = []
    for starts, offsets in clock.pieces():
        inner = np.outer(order, offsets) * angle_rad
        turned = phasor * np.exp(1j * np.outer(starts, order) * angle_rad)
        # c0 + c1 (s + l) + c2 (s + l)**2, sorted by powers of the offset l
        drift = np.stack([c0 + starts * (c1 + c2 * starts), c1 + 2 * c2 * starts, np.full(starts.size, c2)], axis=1)
        left = np.hstack([drift, turned.real, -turned.imag])
        right = np.vstack([np.ones_like(offsets), offsets, offsets**2, np.cos(inner), np.sin(inner)])
        parts.append((left @ right).ravel())
    return np.concatenate(parts)


def _fold(product: Real) -> Complex:
    half = product.shape[-1] // 2
    return np.asarray(product[..., :half] + 1j * product[..., half:])


def _binomial(k: int) -> list[int]:
    row = [1]
    for i in range(k):
        row.append(row[-1] * (k - i) // (i + 1))
    return row
