#!/usr/bin/env python3
"""f0 and Q of a sweep take by numpy and scipy: what coilwright's time is compared with.

    baseline.py take.wav [--tuned] [--out result.json]
    baseline.py take.wav --drive drive.wav             one channel: latency and clock are found as well

The same estimate as `coilwright analyze` without a rig: maximum likelihood of gain, f0, Q and both AC-coupling corners on
the raw bins between two silences, weighted by the noise measured in them, mains lines left out; the model with one more pole
and zero fitted besides, and chosen by the Bayesian criterion. Nothing else that a record holds: no faults, no curve.

Vectorised throughout, and otherwise as one would write it: derivatives are left to scipy. With --tuned they are written out.
scipy.signal is not imported in either case, since that alone would take as long as a fit.
"""
import argparse
import json
import sys
import time

STARTED = time.perf_counter(), time.process_time()

import numpy as np  # noqa: E402
from scipy.fft import fft, ifft, irfft, next_fast_len, rfft  # noqa: E402
from scipy.io import wavfile  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

IMPORTED = time.perf_counter(), time.process_time()

LOW_HZ, HIGH_HZ = 15.0, 22e3
AC_HZ, AC_SPREAD_HZ, AC_MOST_HZ, AC_APART_HZ = 4.0, 8.0, 15.0, 12.0


def read(path):
    """(rate, pickup, reference or None), full scale 1."""
    rate, data = wavfile.read(path)
    full = 1.0 if data.dtype.kind == "f" else float(np.iinfo(data.dtype).max) + 1.0
    columns = data.reshape(len(data), -1).T / full
    return rate, columns[0], columns[1] if len(columns) > 1 else None


def active(x, rate):
    """First and last frame of the drive, from the envelope in blocks of 25 ms."""
    block = int(0.025 * rate)
    level = (x[: x.size // block * block] - x.mean()).reshape(-1, block).std(axis=1)
    floor, top = np.quantile(level, [0.05, 0.95])
    loud = np.flatnonzero(level > max(3 * floor, 0.003 * top))
    # A block of margin on either side.
    return max(loud[0] - 1, 0) * block, min((loud[-1] + 2) * block, x.size)


def record(start, end, frames, rate):
    """The cut and its window: up to 0.3 s of silence, tapered where there is no signal."""
    a, b = max(start - int(0.3 * rate), 0), min(end + int(0.3 * rate), frames)
    rise = min(max(start - a - int(0.01 * rate), 1), int(0.2 * rate))
    fall = min(max(b - end - int(0.1 * rate), 1), int(0.2 * rate))
    window = np.ones(b - a)
    window[:rise] = np.sin(0.5 * np.pi * (np.arange(rise) + 0.5) / rise) ** 2
    window[-fall:] = np.sin(0.5 * np.pi * (np.arange(fall) + 0.5) / fall)[::-1] ** 2
    return slice(a, b), window


def half_width(f, spacing):
    return np.maximum(0.06 * f, 60.0) / spacing


def smooth(s, spacing):
    """Moving average over 6 % or 60 Hz on either side."""
    k = np.arange(s.size)
    half = np.minimum(np.rint(half_width(k * spacing, spacing)).astype(int), np.minimum(k, s.size - 1 - k))
    total = np.concatenate(([0], np.cumsum(s)))
    return (total[k + half + 1] - total[k - half]) / (2 * half + 1)


def noise(y, x, silences, rate):
    """Spacing, densities S_yy, S_xx, S_yx (variance per sample) and the grid points that hold lines."""
    n = min(int(0.35 * rate), max(b - a for a, b in silences)) // 2 * 2
    u = 2 * np.pi * (np.arange(n) + 0.5) / n
    w = 0.35875 - 0.48829 * np.cos(u) + 0.14128 * np.cos(2 * u) - 0.01168 * np.cos(3 * u)
    at = np.concatenate([np.arange(a, b - n + 1, n // 2) for a, b in silences])
    looks = at[:, None] + np.arange(n)
    spectra = [rfft((v - v.mean(axis=1, keepdims=True)) * w, axis=1) for v in (y[looks], x[looks])]
    fy, fx = spectra
    scale = 1 / ((w**2).sum() * at.size)
    syy, sxx = (scale * (s.real**2 + s.imag**2).sum(axis=0) for s in spectra)
    syx = scale * (fy * fx.conj()).sum(axis=0)
    spacing = rate / n
    line = np.zeros(syy.size, bool)
    limit = 1 + 11 / at.size + 5 / np.sqrt(at.size)
    for s in (syy, sxx):
        # In blocks of growing width: the lower quartile tells what is typical, even under a comb of hum.
        edge = 0
        while edge < s.size:
            stop = edge + 2 * int(half_width(edge * spacing, spacing)) + 16
            part = s[edge:stop]
            v = 1 / (9 * at.size)
            typical = np.quantile(part, 0.25) / (1 - v - 0.6745 * np.sqrt(v)) ** 3
            line[edge:stop] |= part > limit * typical
            edge = stop
    line = np.convolve(line, np.ones(7), "same") > 0.5
    k = np.arange(line.size)
    filled = [np.where(line, np.interp(k, k[~line], s[~line]), s) for s in (syy, sxx, syx.real, syx.imag)]
    syy, sxx, re, im = (smooth(s, spacing) for s in filled)
    return spacing, syy, sxx, re + 1j * im, line


class Fit:
    """Weighted residuals of the used bins and their derivatives. Unknowns: gain per 2 pi f_ref, f0 and Q relative to where
    the search starts, mean and difference of both corners, and for the richer model pole and zero in units of 1/f_ref."""

    LOW = [-np.inf, 0.05, 0.02, 0, -AC_APART_HZ, 0, -50]
    HIGH = [np.inf, 20, 50, AC_MOST_HZ, AC_APART_HZ, 50, 50]
    PRIORS = ((3, AC_HZ, AC_SPREAD_HZ), (4, 0.0, AC_SPREAD_HZ))

    def __init__(self, f, x, y, syy, sxx, syx, length, f0, q, tuned):
        self.f, self.x, self.y, self.noise, self.length, self.tuned = f, x, y, (syy, sxx, syx), length, tuned
        self.f0, self.q = f0, q
        self.weight = np.sqrt(2 / (syy * length))
        self.seen = None

    def parts(self, theta):
        if self.seen is not None and np.array_equal(self.seen[0], theta):
            return self.seen[1]
        g, f0, q, mean, diff = theta[:5]
        f0, q = f0 * self.f0, q * self.q
        r = self.f / f0
        quad = 1 / (1 - r * r + 1j * (r / q))
        fy, fr = self.f - 1j * (mean + 0.5 * diff), self.f - 1j * (mean - 0.5 * diff)
        unit = 1j * (self.f / self.f0) * quad * fr / fy
        if theta.size > 5:
            s = 1j * self.f / self.f0
            unit *= (1 + s * theta[6]) / (1 + s * theta[5])
        self.seen = theta.copy(), (g, f0, q, r, quad, fy, fr, unit, g * unit)
        return self.seen[1]

    def reweight(self, theta):
        """The reference has noise too, and it passes through H."""
        syy, sxx, syx = self.noise
        h = self.parts(theta)[-1]
        v = syy + (h.real**2 + h.imag**2) * sxx - 2 * (h.conj() * syx).real
        self.weight = np.sqrt(2 / (np.maximum(v, 0.05 * syy) * self.length))

    def expected(self, theta):
        return self.parts(theta)[-1] * self.x

    def residuals(self, theta):
        e = (self.y - self.expected(theta)) * self.weight
        prior = [(theta[k] - mean) / sd for k, mean, sd in self.PRIORS]
        return np.concatenate((e.real, e.imag, prior))

    def filled(self, derivatives):
        n = self.f.size
        out = np.zeros((2 * n + len(self.PRIORS), len(derivatives)), order="F")
        for c, d in enumerate(derivatives):
            out[:n, c], out[n : 2 * n, c] = d.real, d.imag
        for row, (k, _, sd) in enumerate(self.PRIORS):
            out[2 * n + row, k] = 1 / sd
        return out

    def jacobian(self, theta):
        g, f0, q, r, quad, fy, fr, unit, h = self.parts(theta)
        xw = -self.x * self.weight
        hx = h * xw
        a, b = 1j * hx / fy, 1j * hx / fr
        hq = hx * quad
        derivatives = (unit * xw, hq * (-2 * r * r + 1j * (r / q)) * (self.f0 / f0), hq * (1j * r / q) * (self.q / q), a - b, 0.5 * (a + b))
        if theta.size > 5:
            s = 1j * self.f / self.f0
            derivatives += (-hx * s / (1 + s * theta[5]), hx * s / (1 + s * theta[6]))
        return self.filled(derivatives)

    def solve(self, theta):
        low, high = self.LOW[: theta.size], self.HIGH[: theta.size]
        jacobian = self.jacobian if self.tuned else "2-point"
        # The damping needs no scale of its own: the columns' norms are taken.
        return least_squares(self.residuals, theta, jacobian, (low, high), x_scale="jac", ftol=1e-9, xtol=1e-9, gtol=1e-9)


def grouped(f, x, y, syy):
    """Means over narrow groups: frequency, G = Y/X over jf, and the weight of G."""
    edges = np.searchsorted(f, np.geomspace(f[0], f[-1], 400))
    edges = np.unique(edges)[:-1]
    total = lambda v: np.add.reduceat(v, edges)  # noqa: E731
    density = (x.real**2 + x.imag**2) / syy
    power = total(density)
    fm = total(density * f) / power
    return fm, total(x.conj() * y / syy) / power / (1j * fm), np.sqrt(power) * fm


def linear(fm, ratio, weight):
    """f0, Q, gain and misfit by a linear fit of D(s) G = g."""
    s = 1j * fm / 3000.0
    d1 = d2 = 0.0
    for _ in range(6):
        w = weight / np.abs(1 + d1 * s + d2 * s * s)
        a = np.stack([w + 0j, -s * ratio * w, -s * s * ratio * w], axis=1)
        b = ratio * w
        (_, d1, d2), *_ = np.linalg.lstsq(np.vstack((a.real, a.imag)), np.concatenate((b.real, b.imag)), rcond=None)
    if d1 <= 0 or d2 <= 0:
        return 4000.0, 2.0, 1.0, np.inf
    f0, q = 3000.0 / np.sqrt(d2), np.sqrt(d2) / d1
    model = weight / f0 / (1 + d1 * s + d2 * s * s)
    gain = (model.conj() * ratio * weight).real.sum() / (model.real**2 + model.imag**2).sum()
    return f0, q, gain, (np.abs(gain * model - ratio * weight) ** 2).sum()


def start(f, x, y, syy):
    """f0, Q and gain to begin with."""
    return linear(*grouped(f, x, y, syy))[:3]


def driven(f, x, spacing):
    """Where the drive has power: within 27 dB of its highest power per octave, in twelfths of an octave."""
    edges = np.searchsorted(f, 8.0 * 2 ** (np.arange(0, 12 * 12) / 12))
    edges = np.unique(edges[edges < f.size])
    power = np.add.reduceat(x.real**2 + x.imag**2, edges) / np.diff(np.append(edges, f.size)) * f[edges]
    strong = np.flatnonzero(power > 2e-3 * power.max())
    return f[edges[strong[0]]], f[edges[strong[-1]]] * 2 ** (1 / 12)


def lines_left(residual, syy, energy, spacing):
    """Lines that show in the residuals: three neighbours far above what is typical for a block of 120 Hz."""
    z = (residual.real**2 + residual.imag**2) / (syy * energy)
    block = int(120 / spacing)
    whole = z.size // block * block
    typical = np.quantile(z[:whole].reshape(-1, block), 0.25, axis=1) / 0.2877
    typical = np.append(np.repeat(typical, block), np.full(z.size - whole, typical[-1]))
    mean = np.convolve(z, np.ones(3) / 3, "same")
    return np.convolve(mean > 7.5 * typical, np.ones(7), "same") > 0.5


class OneFit(Fit):
    """The same against the drive as it was laid. Unknowns beside gain, f0 and Q: sum and product of the corners of input and
    output, delay in microseconds and clock in ppm beyond where it was laid; then pole and zero."""

    LOW = [-np.inf, 0.05, 0.02, 0, 0, -2000, -50, 0, -50]
    HIGH = [np.inf, 20, 50, 2 * AC_MOST_HZ, AC_MOST_HZ**2, 2000, 50, 50, 50]
    PRIORS = ((3, 2 * AC_HZ, 9.0), (4, AC_HZ**2, 65.0))

    def __init__(self, moved, *rest):
        super().__init__(*rest)
        self.moved = moved

    def parts(self, theta):
        if self.seen is not None and np.array_equal(self.seen[0], theta):
            return self.seen[1]
        g, f0, q, total, product, delay = theta[:6]
        f0, q = f0 * self.f0, q * self.q
        r = self.f / f0
        quad = 1 / (1 - r * r + 1j * (r / q))
        coupling = 1 / (1 - 1j * total / self.f - product / self.f**2)
        unit = 1j * (self.f / self.f0) * quad * coupling * np.exp(-2e-6j * np.pi * delay * self.f)
        if theta.size > 7:
            s = 1j * self.f / self.f0
            unit *= (1 + s * theta[8]) / (1 + s * theta[7])
        self.seen = theta.copy(), (g, f0, q, r, quad, coupling, unit, g * unit)
        return self.seen[1]

    def expected(self, theta):
        return self.parts(theta)[-1] * (self.x + theta[6] * self.moved)

    def jacobian(self, theta):
        g, f0, q, r, quad, coupling, unit, h = self.parts(theta)
        xw = -(self.x + theta[6] * self.moved) * self.weight
        hx = h * xw
        hq = hx * quad
        derivatives = [unit * xw, hq * (-2 * r * r + 1j * (r / q)) * (self.f0 / f0), hq * (1j * r / q) * (self.q / q)]
        derivatives += [hx * coupling * 1j / self.f, hx * coupling / self.f**2, hx * (-2e-6j * np.pi * self.f), -h * self.moved * self.weight]
        if theta.size > 7:
            s = 1j * self.f / self.f0
            derivatives += [-hx * s / (1 + s * theta[7]), hx * s / (1 + s * theta[8])]
        return self.filled(derivatives)


def correlated(take, drive, rate):
    """Latency in samples to about a millisecond, by the correlation of both spectra whitened over 20 Hz."""
    n = next_fast_len(take.size + drive.size, real=True)
    keep, first = int(8e3 / rate * n), int(200 / rate * n)
    half = int(20 / rate * n)
    white = []
    for s in (rfft(take, n)[:keep], rfft(drive, n)[:keep]):
        total = np.concatenate(([0], np.cumsum(s.real**2 + s.imag**2)))
        k = np.arange(keep)
        low, high = np.maximum(k - half, 0), np.minimum(k + half + 1, keep)
        local = (total[high] - total[low]) / (high - low)
        white.append(np.where(local > 1e-5 * local[first:].max(), s / np.sqrt(local), 0))
    cross = white[0] * white[1].conj()
    cross[:first] = 0
    energy = irfft(np.pad(cross, (0, n // 2 + 1 - keep)), n) ** 2
    window = int(0.003 * rate)
    total = np.concatenate(([0], np.cumsum(np.concatenate((energy, energy[:window])))))
    top = np.argmax(total[window:] - total[:-window])
    near = np.arange(top, top + window)
    lag = (energy[near % n] * near).sum() / energy[near % n].sum()
    return lag if lag < take.size else lag - n


def looks(take, drive, start, end, latency, rate):
    """Short-time cross-spectra below 5 kHz: frequencies, times from the drive's middle in seconds, and the spectra."""
    w = int(0.1 * rate) // 2 * 2
    at = np.arange(start - w // 2, end - w // 2, w // 2)
    window = np.sin(np.pi * (np.arange(w) + 0.5) / w) ** 2
    cut = lambda v, at: np.pad(v, w)[(np.clip(at + w, 0, v.size + w)[:, None] + np.arange(w))]  # noqa: E731
    kept = slice(int(300 * w / rate), int(5e3 * w / rate))
    whole = int(np.floor(latency))
    d, y = (rfft(v * window, axis=1)[:, kept] for v in (cut(drive, at), cut(take, at + whole)))
    f = np.arange(kept.start, kept.stop) * rate / w
    turn = np.exp(2j * np.pi * f * ((latency - whole) / rate))
    return f, (at + w / 2 - 0.5 * (start + end)) / rate, y * d.conj() * turn


def clock(f, times, cross):
    """The difference in ppm at which the looks of each frequency add up best."""
    power = lambda ppm: (np.abs((cross * np.exp(-2e-6j * np.pi * ppm * np.outer(times, f))).sum(axis=0)) ** 2).sum()  # noqa: E731
    reach, best = 500.0, 0.0
    while reach > 0.01:
        grid = best + np.linspace(-reach, reach, 41)
        best = grid[np.argmax([power(p) for p in grid])]
        reach /= 10
    return best


def laid(drive, middle, arrival, ppm, length, keep):
    """Spectrum of the drive on the take's clock, and its derivative per ppm: a chirp-z transform (Rabiner, Schafer, Rader 1969)."""
    slow = 1 / (1 + 1e-6 * ppm)
    size = next_fast_len(drive.size + keep)
    k = np.arange(max(drive.size, keep), dtype=np.longdouble)
    turns = k * k * np.longdouble(slow / length) / 2
    chirp = np.exp(-2j * np.pi * (turns - np.floor(turns)).astype(float))
    kernel = np.zeros(size, complex)
    kernel[:keep] = chirp[:keep].conj()
    kernel[size - drive.size + 1 :] = chirp[1 : drive.size][::-1].conj()
    kernel = fft(kernel)
    w = 2 * np.pi * np.arange(keep) / length
    turn = chirp[:keep] * np.exp(-1j * ((w * (arrival - slow * middle)) % (2 * np.pi)))
    transform = lambda v: ifft(fft(v * chirp[: drive.size], size) * kernel)[:keep] * turn  # noqa: E731
    moved = transform(drive * (np.arange(drive.size) - middle)) * (1j * w * 1e-6 * slow * slow)
    return transform(drive), moved


def delay(f, x, y, syy):
    """The delay in seconds under which a second-order response explains the lows best, then more of the band."""
    best, step = 0.0, 40e-6
    fm, ratio, weight = grouped(f, x, y, syy)
    for top, reach in ((2500.0, 30), (7000.0, 12), (12e3, 8)):
        low = (fm > 60) & (fm < top)
        tried = best + step * np.arange(-reach, reach + 1)
        turned = lambda tau: ratio[low] * np.exp(2j * np.pi * fm[low] * tau)  # noqa: E731
        best = tried[np.argmin([linear(fm[low], turned(t), weight[low])[3] for t in tried])]
        step /= 6
    return best


class Take:
    """What is known of a take before its model: spectra of pickup and reference in the band, their noise, and what is used."""

    def __init__(self, path, drive=None):
        self.rate, y, x = read(path)
        if drive is None and x is None:
            sys.exit(f"{path}: two channels are needed, or --drive")
        self.drive = None if drive is None else read(drive)[1]
        if drive is None:
            begin, end = active(x, self.rate)
        else:
            loud = np.flatnonzero(np.abs(self.drive) > 1e-3 * np.abs(self.drive).max())
            first, last = loud[0] - int(0.03 * self.rate), loud[-1] + int(0.03 * self.rate)
            latency = correlated(y, self.drive, self.rate)
            self.ppm = clock(*looks(y, self.drive, first, last, latency, self.rate))
            self.middle = 0.5 * (first + last)
            begin, end = int(latency + first), min(int(latency + last), y.size)
        cut, window = record(begin, end, y.size, self.rate)
        silences = [(0, begin - int(0.005 * self.rate)), (end + int(0.06 * self.rate), y.size)]
        silences = [s for s in silences if s[1] - s[0] > 0.1 * self.rate]
        spacing_n, *densities, line = noise(y, np.zeros(y.size) if x is None else x, silences, self.rate)
        self.length = next_fast_len(window.size, real=True)
        self.energy = (window**2).sum()
        self.spacing = self.rate / self.length
        keep = int(min(HIGH_HZ, 0.45 * self.rate) / self.spacing) + 1
        spectrum = lambda v: rfft((v[cut] - v[cut].mean()) * window, self.length)[:keep]  # noqa: E731
        fy = spectrum(y)
        if drive is None:
            fx = spectrum(x)
        else:
            self.arrival = latency + self.middle - cut.start
            fx, self.moved = self.lay(keep)
        f = np.arange(keep) * self.spacing
        low, high = driven(f, fx, self.spacing)
        self.band = slice(int(np.ceil(max(low, LOW_HZ) / self.spacing)), int(min(high, f[-1]) / self.spacing) + 1)
        self.f, self.x, self.y = (v[self.band] for v in (f, fx, fy))
        grid = np.arange(line.size) * spacing_n
        self.noise = [np.interp(self.f, grid, s) for s in densities]
        self.clear = self.x.real**2 + self.x.imag**2 > 10 * self.noise[1] * self.energy
        self.used = ~line[np.rint(self.f / spacing_n).astype(int)] & self.clear

    def lay(self, keep):
        return laid(self.drive, self.middle, self.arrival, self.ppm, self.length, keep)

    def lay_again(self, delay_s, ppm):
        self.arrival += delay_s * self.rate
        self.ppm += ppm
        self.x, self.moved = (v[self.band] for v in self.lay(self.band.stop))

    def fit(self, used, f0, q, tuned):
        common = [v[used] for v in (self.f, self.x, self.y, *self.noise)]
        if self.drive is None:
            return Fit(*common, self.length, f0, q, tuned)
        return OneFit(self.moved[used], *common, self.length, f0, q, tuned)


def settle(take, tuned):
    """Lays the drive ever closer to where it arrived. Where f0, Q and gain start then."""
    used = take.used
    take.lay_again(delay(take.f[used], take.x[used], take.y[used], take.noise[0][used]), 0.0)
    for _ in range(8):
        f0, q, g = start(*(v[used] for v in (take.f, take.x, take.y, take.noise[0])))
        fit = take.fit(used, f0, q, tuned)
        fit.reweight(np.array([g, 1.0, 1.0, 2 * AC_HZ, AC_HZ**2, 0.0, 0.0]))
        theta = fit.solve(np.array([g, 1.0, 1.0, 2 * AC_HZ, AC_HZ**2, 0.0, 0.0])).x
        take.lay_again(theta[5] * 1e-6, theta[6])
        if abs(theta[6]) < 0.02:
            break


def analyse(path, tuned, drive):
    take = Take(path, drive)
    if drive is not None:
        settle(take, tuned)
    used = take.used
    f0, q, g = start(*(v[used] for v in (take.f, take.x, take.y, take.noise[0])))
    corners = (AC_HZ, 0.0) if drive is None else (2 * AC_HZ, AC_HZ**2, 0.0, 0.0)
    theta = np.array([g, 1.0, 1.0, *corners])
    for last in (False, True):
        fit = take.fit(used, f0, q, tuned)
        fit.reweight(theta)
        solved = fit.solve(theta)
        theta = solved.x
        if not last:
            whole = take.fit(slice(None), f0, q, tuned)
            # The residuals know better than the silences where a line ends.
            used = take.clear & ~lines_left(take.y - whole.expected(theta), take.noise[0], take.energy, take.spacing)
    jac = fit.jacobian(theta)
    cov = np.linalg.inv(jac.T @ jac)
    # The cost counts what the window took from the noise of a bin as taken.
    chi2 = 2 * solved.cost / (2 * fit.f.size - theta.size) * take.length / take.energy
    u = np.sqrt(np.diag(cov) * max(chi2, 1.0))
    richer = fit.solve(np.append(theta, (0.1, 0.05)))
    delta_bic = 2 * (richer.cost - solved.cost) * take.length / take.energy / max(chi2, 1.0) + 2 * np.log(2 * fit.f.size)
    result = {
        "delta_bic": delta_bic,
        "f0_hz": {"value": theta[1] * f0, "u": u[1] * f0},
        "q": {"value": theta[2] * q, "u": u[2] * q},
        "bins": int(fit.f.size),
        "reduced_chi2": chi2,
    }
    if drive is None:
        return result | {"ac_mean_hz": {"value": theta[3], "u": u[3]}, "ac_difference_hz": {"value": theta[4], "u": u[4]}}
    return result | {"clock_ppm": take.ppm + theta[6]}


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("take", nargs="?", help="without one: only the imports, to see what they cost")
    args.add_argument("--drive", help="what was played; for a take of one channel")
    args.add_argument("--tuned", action="store_true", help="derivatives written out")
    args.add_argument("--out", help="where the result goes; left out: standard output")
    args = args.parse_args()
    if args.take is None:
        return
    text = json.dumps(analyse(args.take, args.tuned, args.drive), indent=2)
    if args.out:
        with open(args.out, "w") as file:
            file.write(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
