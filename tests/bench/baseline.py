#!/usr/bin/env python3
"""f0 and Q of a two-channel sweep take by numpy and scipy: what coilwright's time is compared with.

    baseline.py take.wav [--tuned] [--out result.json]

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
from scipy.fft import next_fast_len, rfft  # noqa: E402
from scipy.io import wavfile  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

IMPORTED = time.perf_counter(), time.process_time()

LOW_HZ, HIGH_HZ = 15.0, 22e3
AC_HZ, AC_SPREAD_HZ, AC_MOST_HZ, AC_APART_HZ = 4.0, 8.0, 15.0, 12.0


def read(path):
    """(rate, pickup, reference), full scale 1."""
    rate, data = wavfile.read(path)
    if data.ndim != 2 or data.shape[1] < 2:
        sys.exit(f"{path}: two channels are needed")
    full = 1.0 if data.dtype.kind == "f" else float(np.iinfo(data.dtype).max) + 1.0
    return rate, data[:, 0] / full, data[:, 1] / full


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

    def residuals(self, theta):
        e = (self.y - self.parts(theta)[-1] * self.x) * self.weight
        prior = ((theta[3] - AC_HZ) / AC_SPREAD_HZ, theta[4] / AC_SPREAD_HZ)
        return np.concatenate((e.real, e.imag, prior))

    def jacobian(self, theta):
        g, f0, q, r, quad, fy, fr, unit, h = self.parts(theta)
        xw = -self.x * self.weight
        hx = h * xw
        a, b = 1j * hx / fy, 1j * hx / fr
        hq = hx * quad
        n = self.f.size
        out = np.empty((2 * n + 2, theta.size), order="F")
        derivatives = (unit * xw, hq * (-2 * r * r + 1j * (r / q)) * (self.f0 / f0), hq * (1j * r / q) * (self.q / q), a - b, 0.5 * (a + b))
        if theta.size > 5:
            s = 1j * self.f / self.f0
            derivatives += (-hx * s / (1 + s * theta[5]), hx * s / (1 + s * theta[6]))
        for c, d in enumerate(derivatives):
            out[:n, c], out[n : 2 * n, c] = d.real, d.imag
        out[2 * n :] = 0
        out[2 * n, 3] = out[2 * n + 1, 4] = 1 / AC_SPREAD_HZ
        return out

    def solve(self, theta):
        low = [-np.inf, 0.05, 0.02, 0, -AC_APART_HZ, 0, -50][: theta.size]
        high = [np.inf, 20, 50, AC_MOST_HZ, AC_APART_HZ, 50, 50][: theta.size]
        jacobian = self.jacobian if self.tuned else "2-point"
        # The damping needs no scale of its own: the columns' norms are taken.
        return least_squares(self.residuals, theta, jacobian, (low, high), x_scale="jac", ftol=1e-9, xtol=1e-9, gtol=1e-9)


def start(f, x, y, syy):
    """f0, Q and gain by a linear fit of D(s) G = g on means over narrow groups."""
    edges = np.searchsorted(f, np.geomspace(f[0], f[-1], 400))
    edges = np.unique(edges)[:-1]
    total = lambda v: np.add.reduceat(v, edges)  # noqa: E731
    density = (x.real**2 + x.imag**2) / syy
    power = total(density)
    fm = total(density * f) / power
    ratio = total(x.conj() * y / syy) / power / (1j * fm)
    s = 1j * fm / 3000.0
    weight = np.sqrt(power) * fm
    d1 = d2 = 0.0
    for _ in range(6):
        w = weight / np.abs(1 + d1 * s + d2 * s * s)
        a = np.stack([w + 0j, -s * ratio * w, -s * s * ratio * w], axis=1)
        b = ratio * w
        (_, d1, d2), *_ = np.linalg.lstsq(np.vstack((a.real, a.imag)), np.concatenate((b.real, b.imag)), rcond=None)
    if d1 <= 0 or d2 <= 0:
        return 4000.0, 2.0, 1.0
    f0, q = 3000.0 / np.sqrt(d2), np.sqrt(d2) / d1
    model = weight / f0 / (1 + d1 * s + d2 * s * s)
    return f0, q, (model.conj() * ratio * weight).real.sum() / (model.real**2 + model.imag**2).sum()


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


def analyse(path, tuned):
    rate, y, x = read(path)
    begin, end = active(x, rate)
    cut, window = record(begin, end, x.size, rate)
    silences = [(0, begin - int(0.005 * rate)), (end + int(0.06 * rate), x.size)]
    spacing_n, *densities, line = noise(y, x, [s for s in silences if s[1] - s[0] > 0.1 * rate], rate)
    length = next_fast_len(window.size, real=True)
    fx, fy = (rfft((v[cut] - v[cut].mean()) * window, length) for v in (x, y))
    spacing = rate / length
    keep = int(min(HIGH_HZ, 0.45 * rate) / spacing) + 1
    f = np.arange(keep) * spacing
    fx, fy = fx[:keep], fy[:keep]
    low, high = driven(f, fx, spacing)
    band = slice(int(np.ceil(max(low, LOW_HZ) / spacing)), int(min(high, f[-1]) / spacing) + 1)
    f, fx, fy = f[band], fx[band], fy[band]
    grid = np.arange(line.size) * spacing_n
    syy, sxx, syx = (np.interp(f, grid, s) for s in densities)
    energy = (window**2).sum()
    clear = fx.real**2 + fx.imag**2 > 10 * sxx * energy
    used = ~line[np.rint(f / spacing_n).astype(int)] & clear
    f0, q, g = start(f[used], fx[used], fy[used], syy[used])
    theta = np.array([g, 1.0, 1.0, AC_HZ, 0.0])
    for last in (False, True):
        fit = Fit(*(v[used] for v in (f, fx, fy, syy, sxx, syx)), length, f0, q, tuned)
        fit.reweight(theta)
        solved = fit.solve(theta)
        theta = solved.x
        if not last:
            whole = Fit(f, fx, fy, syy, sxx, syx, length, f0, q, tuned)
            # The residuals know better than the silences where a line ends.
            used = clear & ~lines_left(fy - whole.parts(theta)[-1] * fx, syy, energy, spacing)
    jac = fit.jacobian(theta)
    cov = np.linalg.inv(jac.T @ jac)
    # The cost counts what the window took from the noise of a bin as taken.
    chi2 = 2 * solved.cost / (2 * fit.f.size - 5) * length / energy
    u = np.sqrt(np.diag(cov) * max(chi2, 1.0))
    richer = fit.solve(np.append(theta, (0.1, 0.05)))
    delta_bic = 2 * (richer.cost - solved.cost) * length / energy / max(chi2, 1.0) + 2 * np.log(2 * fit.f.size)
    return {
        "delta_bic": delta_bic,
        "f0_hz": {"value": theta[1] * f0, "u": u[1] * f0},
        "q": {"value": theta[2] * q, "u": u[2] * q},
        "ac_mean_hz": {"value": theta[3], "u": u[3]},
        "ac_difference_hz": {"value": theta[4], "u": u[4]},
        "bins": int(fit.f.size),
        "reduced_chi2": chi2,
    }


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("take", nargs="?", help="without one: only the imports, to see what they cost")
    args.add_argument("--tuned", action="store_true", help="derivatives written out")
    args.add_argument("--out", help="where the result goes; left out: standard output")
    args = args.parse_args()
    if args.take is None:
        return
    text = json.dumps(analyse(args.take, args.tuned), indent=2)
    if args.out:
        with open(args.out, "w") as file:
            file.write(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
