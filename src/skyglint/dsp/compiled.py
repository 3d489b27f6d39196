"""The inner loops compiled by numba; importing this module needs numba (see ``kernels.load_kernels``)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from skyglint.dsp.kernels import Kernels, share_of


@njit(cache=True, fastmath=True, nogil=True)
def _fold(values: Any, taps: Any, bias: Any, out: Any) -> None:
    hops, width = out.shape
    tap0, tap1, tap2, tap3 = taps[0], taps[1], taps[2], taps[3]
    for hop in range(hops):
        # Slices, not one array with an offset: the loop over them compiles to vector instructions.
        row0 = values[hop * width : (hop + 1) * width]
        row1 = values[(hop + 1) * width : (hop + 2) * width]
        row2 = values[(hop + 2) * width : (hop + 3) * width]
        row3 = values[(hop + 3) * width : (hop + 4) * width]
        folded = out[hop]
        for n in range(width):
            folded[n] = (
                bias[n]
                + tap0[n] * np.float32(row0[n])
                + tap1[n] * np.float32(row1[n])
                + tap2[n] * np.float32(row2[n])
                + tap3[n] * np.float32(row3[n])
            )


@njit(cache=True, fastmath=True, nogil=True)
def _bin_power(transform: Any, runs: Any, image: Any, hops: int, out: Any) -> None:
    frames, n_bins = out.shape[0], transform.shape[1] // 2
    scale = np.float32(1.0 / hops)
    real, imag = np.float32(image.real), np.float32(image.imag)
    clean = real == 0.0 and imag == 0.0
    squares = np.empty(2 * n_bins, dtype=np.float32)
    for frame in range(frames):
        column = 0
        for run in range(runs.shape[0]):
            first, length = runs[run, 0], runs[run, 1]
            total = squares[: 2 * length]
            total[:] = np.float32(0.0)
            for hop in range(hops):
                row = transform[frame * hops + hop]
                part = row[2 * first : 2 * (first + length)]
                if clean:
                    for n in range(2 * length):
                        total[n] += part[n] * part[n]
                else:
                    for n in range(length):
                        # Bin 0 is its own mirror; it is the centre spike and never used, so any value serves there.
                        mirror = 2 * (n_bins - max(first + n, 1))
                        there_real, there_imag = row[mirror], row[mirror + 1]
                        here_real = part[2 * n] - real * there_real - imag * there_imag
                        here_imag = part[2 * n + 1] - imag * there_real + real * there_imag
                        total[2 * n] += here_real * here_real
                        total[2 * n + 1] += here_imag * here_imag
            for n in range(length):
                out[frame, column + n] = scale * (total[2 * n] + total[2 * n + 1])
            column += length


def _bin_power_complex(
    transform: NDArray[np.complex64], runs: NDArray[np.int64], image: complex, hops: int, out: NDArray[np.float32]
) -> None:
    _bin_power(transform.view(np.float32), runs, image, hops, out)


@njit(cache=True, nogil=True)
def _moments_bytes(values: Any, share: int, low: Any, high: Any) -> Any:
    # Whole numbers throughout: exact, and the compiler vectorises them.
    sums = np.empty((values.shape[0], 7), dtype=np.float64)
    for frame in range(values.shape[0]):
        i_sum = q_sum = ii_sum = qq_sum = iq_sum = beyond = np.int64(0)
        for hop in range(values.shape[1]):
            part = values[frame, hop, :share]
            i_hop = q_hop = ii_hop = qq_hop = iq_hop = beyond_hop = np.int32(0)
            for n in range(share // 2):
                i, q = np.int32(part[2 * n]), np.int32(part[2 * n + 1])
                i_hop += i
                q_hop += q
                ii_hop += i * i
                qq_hop += q * q
                iq_hop += i * q
            for n in range(share):
                beyond_hop += np.int32((part[n] <= low) | (part[n] >= high))
            i_sum += i_hop
            q_sum += q_hop
            ii_sum += ii_hop
            qq_sum += qq_hop
            iq_sum += iq_hop
            beyond += beyond_hop
        row = sums[frame]
        row[0], row[1], row[2], row[3], row[4] = i_sum, q_sum, ii_sum, qq_sum, iq_sum
        row[5], row[6] = values.shape[1] * (share // 2), beyond
    return sums


@njit(cache=True, nogil=True)
def _moments_wide(values: Any, share: int, low: Any, high: Any) -> Any:
    sums = np.zeros((values.shape[0], 7), dtype=np.float64)
    for frame in range(values.shape[0]):
        row = sums[frame]
        for hop in range(values.shape[1]):
            part = values[frame, hop, :share]
            for n in range(share // 2):
                i, q = np.float64(part[2 * n]), np.float64(part[2 * n + 1])
                row[0] += i
                row[1] += q
                row[2] += i * i
                row[3] += q * q
                row[4] += i * q
                row[5] += 1
            for n in range(share):
                row[6] += (part[n] <= low) | (part[n] >= high)
    return sums


def _moments(values: NDArray[Any], low_rail: float, high_rail: float) -> NDArray[np.float64]:
    share = share_of(values.shape[2])
    if values.dtype.itemsize == 1:
        kind = values.dtype.type
        return np.asarray(_moments_bytes(values, share, kind(low_rail), kind(high_rail)))
    return np.asarray(_moments_wide(values, share, low_rail, high_rail))


COMPILED = Kernels(_fold, _bin_power_complex, _moments)
