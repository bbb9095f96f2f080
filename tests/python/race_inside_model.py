"""Faults inside one of several strings or units, and outside, followed from event to event: an independent model.

Circuit    feeders k = 1..K: L_s i_k' + R_k i_k = E - u - v_k; joint: u = (1-p) E + r i_f + L_c i_f' + v_f, i_f = sum of i_k.
           Inside: K = M-1, L_c = x L_s, v_f the clamp of the faulted string's switch. Outside: K = M, L_c, r the path in common,
           no switch in it. v_k, v_f = +-clamp voltage from the opening until the current is zero, then out for ever.
           Linear between events: exact in eigenmodes; Simpson for charge and I2t; the filter sees straight halves of a step.
State      a vector of genes in 0..1 (decode): corners first, then the best of each quantity changed for some generations.
"""

import math

import numpy

METRICS = ("back", "fwd", "clamp", "a2s", "carry")
GROW = 0.06


def spans(given):
    """Ranges of a request by short names."""
    s = given["source"]
    n, units = given["strings"]["count"], given["units_in_parallel"]
    return {
        "n": n,
        "N": units,
        "M": n * units,
        "volt": (s.get("voltage_min_v", s["voltage_v"]), s["voltage_v"]),
        "pack": (s["pack_resistance_ohm"], s.get("pack_resistance_max_ohm", s["pack_resistance_ohm"])),
        "ext": (s["external_resistance_ohm"], s.get("external_resistance_max_ohm", s["external_resistance_ohm"])),
        "henry": (s["inductance_henry"], s.get("inductance_max_henry", s["inductance_henry"])),
        "own": s.get("own_inductance_henry"),
        "before": (given.get("before_min_a", min(given["before_a"], 0.0)), max(given["before_a"], 0.0)),
        "stage": tuple(
            sum(stage.get(key, stage["longest_s"]) for stage in given["stages"]) for key in ("shortest_s", "longest_s")
        ),
    }


SHARED = 14  # volt, pack, x, r, henry, p mode, p, start, before, alike pack, ext, spare ...


def genes(dice, count, M):
    """Corner-biased states: 14 shared genes, five of each string, one pack resistance of each unit."""
    size = SHARED + 6 * M
    g = dice.random((count, size))
    corner = dice.random((count, 1)) < 0.7
    sharp = (dice.random((count, size)) < 0.75) & corner
    g = numpy.where(sharp, dice.integers(0, 2, (count, size)).astype(float), g)
    g[:, 5:7] = dice.random((count, 2))
    g[:, 7] = dice.random(count)
    # The strings alike, but perhaps for the first one (inside: the faulted).
    for block in range(6):
        alike = dice.random(count) < 0.5
        at = SHARED + block * M
        keep = g[:, at].copy()
        g[:, at : at + M] = numpy.where(alike[:, None], g[:, at + M - 1 : at + M], g[:, at : at + M])
        g[:, at] = numpy.where(alike & (dice.random(count) < 0.6), keep, g[:, at])
    return g


def cut(g):
    return numpy.clip(1.3 * g - 0.15, 0.0, 1.0)


def decode(given, g, inside):
    """Numbers of the circuit of each state."""
    d = spans(given)
    n, N, M = d["n"], d["N"], d["M"]
    S = len(g)
    h = cut(g)

    def between(name, share):
        low, high = d[name]
        return low + (high - low) * share

    block = [h[:, SHARED + k * M : SHARED + (k + 1) * M] for k in range(6)]
    E = between("volt", h[:, 0])
    same = g[:, 9] < 0.7
    unit = numpy.where(same[:, None], h[:, 1:2], block[5][:, :N])
    unit = between("pack", unit)  # (S, N)
    spread = given["strings"]["spread_percent"] / 100
    shape = 1 + spread * (2 * block[0].reshape(S, N, n) - 1)
    R = shape * unit[:, :, None] * (1 / shape).sum(axis=2, keepdims=True)
    R = R.reshape(S, M)
    error = given["threshold_error_percent"] / 100
    thr = given["threshold_a"] * (1 + error * (2 * block[1] - 1))
    tol = given["filter_tolerance_percent"] / 100
    tauf = given["filter_s"] * (1 + tol * (2 * block[2] - 1))
    stage = between("stage", block[3])
    high = n * d["henry"][1]
    least, most = d["before"]
    b = least + (most - least) * numpy.where(g[:, 11:12] < 0.7, h[:, 8:9], block[4])
    c = {"E": E, "thr": thr, "tauf": tauf, "stage": stage, "R_all": R, "inside": inside, "clampv": given["switch"]["clamp_voltage_v"]}
    mode = g[:, 5]
    if inside:
        # Anything from nothing to n times the whole loop; a thousandth stands for nothing.
        share = numpy.where(g[:, 12] < 0.6, h[:, 4], 10 ** (-3 * h[:, 4]))
        L = numpy.full(S, d["own"]) if d["own"] else high * numpy.maximum(share, 1e-3)
        x = h[:, 2]
        r = numpy.where(g[:, 10] < 0.6, 0.0, h[:, 3]) * R[:, 0]
        feeders = R[:, 1:]
        loop = 1 / (1 / feeders).sum(axis=1) + r
        part = numpy.where(mode < 0.4, 1.0, numpy.maximum(g[:, 6], 0.02))
        edge = numpy.abs(thr[:, 0]) * (1 + 10 ** (-3.0 + 3.0 * g[:, 6])) * loop / E
        # The largest feeder just above or below its threshold.
        most_fed = (1 / feeders).max(axis=1) / (1 / feeders).sum(axis=1)
        low = thr[:, 1:].min(axis=1) / most_fed * (0.9 + 0.4 * g[:, 6]) * loop / E
        part = numpy.where((mode >= 0.65) & (mode < 0.8), edge, numpy.where(mode >= 0.8, low, part))
        p = numpy.clip(part, 1e-3, 1.0)
        K = M - 1
        b = b[:, 1:]
        # rest: nothing flows; flux: the load gone at the short; free: each feeder keeps what it had; circ: within the pack only.
        start = numpy.digitize(g[:, 7], [0.25, 0.55, 0.8])
        level = b.mean(axis=1)
        flux = level * (1 - x) / (K * x + 1)
        circ = numpy.minimum(most, -least / K) * h[:, 8]
        i0 = numpy.where((start == 0)[:, None], 0.0, numpy.where((start == 1)[:, None], flux[:, None], numpy.where((start == 2)[:, None], b, circ[:, None])))
        y0 = numpy.where((start == 1)[:, None], level[:, None], i0)
        # What flowed in the faulted string, counted backwards.
        yf = numpy.where(start == 0, 0.0, numpy.where(start == 1, -level, i0.sum(axis=1)))
        c |= {"R": feeders, "L": L, "Lc": x * L, "r": r, "drive": p * E, "i0": i0, "y0": y0, "yf": yf}
        c |= {"x": x, "p": p, "start": start, "K": K}
    else:
        loop_h = between("henry", h[:, 4])
        share = numpy.where(g[:, 2] < 0.4, 1.0, numpy.where(g[:, 2] < 0.7, 2e-3, 10 ** (-2.5 * h[:, 3])))
        L = numpy.full(S, d["own"]) if d["own"] else share * n * loop_h
        L = numpy.minimum(L, n * loop_h)
        Lc = loop_h - L / n
        r = between("ext", h[:, 10])
        # Near its threshold where the resistance of the short can do that.
        conduct = 1 / R
        total = conduct.sum(axis=1)
        wanted = E * conduct.max(axis=1) / (thr.max(axis=1) * (1 + 10 ** (-3.0 + 3.0 * g[:, 6])))
        near = (wanted > 0) * ((E * conduct.max(axis=1) / wanted - 1) / total)
        r = numpy.where(mode > 0.7, numpy.clip(near, *d["ext"]), r)
        c |= {"R": R, "L": L, "Lc": Lc, "r": r, "drive": E, "i0": b * (g[:, 7:8] > 0.3), "y0": b * (g[:, 7:8] > 0.3), "K": M}
        c |= {"x": Lc / L, "p": numpy.ones(S), "start": (g[:, 7] > 0.3) * 2, "yf": numpy.zeros(S)}
    return c




class Modes:
    """Exact steps of the conducting feeders of each state."""

    def __init__(self, c):
        S, K = c["R"].shape
        self.c, self.eye = c, numpy.eye(K)
        self.rate, self.to, self.back, self.force = numpy.zeros((S, K)), numpy.zeros((S, K, K)), numpy.zeros((S, K, K)), numpy.zeros((S, K))

    def update(self, at, on, e, stuck):
        """For states `at`: conducting feeders, their driving voltages, whether the joint carries nothing on."""
        if not len(at):
            return
        c, v = self.c, on[at].astype(float)
        m = numpy.maximum(v.sum(axis=1), 1.0)
        x = (c["Lc"] / c["L"])[at]
        gain = numpy.where(stuck[at], 0.0, 1 / numpy.sqrt(1 + m * x))
        inverse = numpy.where(stuck[at], 0.0, numpy.sqrt(1 + m * x))
        outer = v[:, :, None] * v[:, None, :] / m[:, None, None]
        base = self.eye * v[:, :, None]
        root = base + (gain - 1)[:, None, None] * outer
        undo = base + (inverse - 1)[:, None, None] * outer
        resist = self.eye * (v * c["R"][at])[:, :, None] + c["r"][at, None, None] * v[:, :, None] * v[:, None, :]
        rate, q = numpy.linalg.eigh(root @ resist @ root / c["L"][at, None, None])
        qt = q.transpose(0, 2, 1)
        self.rate[at] = numpy.maximum(rate, 0.0)
        self.to[at], self.back[at] = qt @ undo, root @ q
        self.force[at] = numpy.einsum("sij,sj->si", qt @ root, (e[at] * v)) / c["L"][at, None]

    def step(self, i, dt):
        """Currents in the middle and at the end of a step."""
        y = numpy.einsum("sij,sj->si", self.to, i)
        out = []
        for t in (dt / 2, dt):
            x = self.rate * t[:, None]
            keep = numpy.exp(-x)
            grown = numpy.where(x > 1e-9, -numpy.expm1(-x) / numpy.where(self.rate > 0, self.rate, 1.0), t[:, None])
            out.append(numpy.einsum("sij,sj->si", self.back, y * keep + self.force * grown))
        return out


def crossing(f0, fm, f1):
    """Share of the step until a function that changes its sign does: straight in each half, refined by the parabola."""
    first = f0 * fm <= 0
    with numpy.errstate(divide="ignore", invalid="ignore"):
        theta = numpy.where(first, 0.5 * f0 / (f0 - fm), 0.5 + 0.5 * fm / (fm - f1))
        # One or two Newton steps on the parabola through the three.
        a, b = 2 * f0 - 4 * fm + 2 * f1, -3 * f0 + 4 * fm - f1
        for _ in range(2):
            slope = 2 * a * theta + b
            new = theta - (a * theta * theta + b * theta + f0) / slope
            good = numpy.isfinite(new) & (new >= numpy.where(first, 0.0, 0.5) - 1e-9) & (new <= numpy.where(first, 0.5, 1.0) + 1e-9)
            theta = numpy.where(good, new, theta)
    return numpy.clip(numpy.nan_to_num(theta, nan=1.0), 0.0, 1.0)


def simulate(given, c, limit=4000):
    """Largest values of each state, by quantity: (S,) arrays."""
    S, K = c["R"].shape
    inside = c["inside"]
    F = 1 if inside else 0  # column of the faulted string, then the feeders
    W = K + F
    thr, tauf, stage = c["thr"], c["tauf"], c["stage"]
    clampv = c["clampv"]
    fuse = given["fuse"]["prearc_a2s"] * (1 + given["fuse"].get("tolerance_percent", 0.0) / 100) or math.inf
    i = c["i0"].astype(float).copy()
    y = numpy.concatenate([c["yf"][:, None], c["y0"]], axis=1)[:, 1 - F :].astype(float)
    t, last = numpy.zeros(S), numpy.zeros(S)
    closed, live = numpy.ones((S, W), bool), numpy.ones((S, W), bool)
    sign = numpy.zeros((S, W))
    opens = numpy.full((S, W), math.inf)
    charge, a2s, shut, peak = numpy.zeros((S, W)), numpy.zeros((S, W)), numpy.zeros((S, W)), numpy.zeros((S, W))
    best = {name: numpy.zeros(S) for name in METRICS}
    best["who"] = numpy.zeros((S, 2), int)
    modes = Modes(c)
    done = numpy.zeros(S, bool)
    settle = c["L"] * (1 + K * c["Lc"] / c["L"]) / (c["R"].min(axis=1))
    horizon = 40 * settle + 30 * tauf.max(axis=1) + 3 * stage.max(axis=1)
    slow = numpy.where(tauf > 0, tauf, math.inf).min(axis=1)

    def driven():
        e = c["drive"][:, None] - clampv * sign[:, F:]
        return e - clampv * sign[:, :1] if inside else e

    def joint():
        return ~live[:, 0] if inside else numpy.zeros(S, bool)

    def total(feed):
        return numpy.concatenate([feed.sum(axis=1, keepdims=True), feed], axis=1) if inside else feed

    def filtered(y, a, b, dt):
        """First order, driven by a straight line from a to b."""
        with numpy.errstate(divide="ignore", invalid="ignore"):
            z = dt[:, None] / tauf
            keep = numpy.exp(-z)
            value = b - (b - a) / z * (1 - keep) + (y - a) * keep
        return numpy.where(tauf > 0, numpy.where(z > 1e-9, value, y), b)

    modes.update(numpy.arange(S), live[:, F:], driven(), joint())
    seen = numpy.abs(y) >= thr
    opens[seen] = stage[seen]
    fresh = numpy.zeros(S, bool)
    for _ in range(limit):
        quick = numpy.minimum(1 / numpy.maximum(modes.rate.max(axis=1), 1e-30), slow)
        quick = numpy.where(done, 1.0, numpy.minimum(quick, stage.min(axis=1)))
        dt = numpy.maximum(0.01 * quick, GROW * (t - last))
        due = numpy.where(closed & live, opens, math.inf).min(axis=1)
        dt = numpy.where(done, 0.0, numpy.minimum(dt, numpy.maximum(due - t, 0.0)))
        w0 = total(i)
        for attempt in (0, 1, 2):
            im, ie = modes.step(i, dt)
            wm, we = total(im), total(ie)
            ym = filtered(y, w0, wm, dt / 2)
            ye = filtered(ym, wm, we, dt / 2)
            now = (numpy.isinf(opens)) & closed & live & ((numpy.abs(ym) >= thr) | (numpy.abs(ye) >= thr)) & (dt > 0)[:, None]
            side = numpy.sign(numpy.where(numpy.abs(ye) >= thr, ye, ym))
            share = numpy.where(now, crossing(y * side - thr, ym * side - thr, numpy.where(numpy.abs(ye) >= thr, ye, ym) * side - thr), 1.0)
            found = numpy.where(now, t[:, None] + share * dt[:, None] + stage, math.inf)
            if attempt == 2:
                break
            # An open one that comes to zero, or an opening inside the step: only so far.
            zero = live & ~closed & ((wm * sign <= 0) | (we * sign <= 0)) & (w0 * sign > 0)
            theta = numpy.where(zero, crossing(w0 * sign, wm * sign, we * sign), 1.0).min(axis=1)
            early = numpy.minimum(found.min(axis=1) - t, math.inf)
            new = numpy.minimum(theta * dt, numpy.where(early < dt, early, dt))
            if attempt == 0:
                ended = zero
            if numpy.all(new >= dt * (1 - 1e-12)):
                break
            dt = new
        opens = numpy.minimum(opens, found)
        simpson = dt[:, None] / 6
        square = simpson * (w0**2 + 4 * wm**2 + we**2)
        opened = live & ~closed
        a2s += square * live
        shut += square * (closed & live)
        charge += numpy.abs(simpson * (w0 + 4 * wm + we)) * opened
        peak = numpy.maximum(peak, numpy.where(closed & live, numpy.maximum(numpy.abs(w0), numpy.abs(we)), 0.0))
        i, y, t = ie, ye, t + dt
        w = total(i)
        change = numpy.zeros(S, bool)
        # Openings.
        go = closed & live & (opens <= (t * (1 + 1e-12) + 1e-18)[:, None]) & ~done[:, None]
        if go.any():
            size = numpy.where(go, w, 0.0)
            if inside:
                # free and x > 0: what the faulted one carries is no state of the pack alone.
                real = (c["start"] != 2) | (c["x"] == 0.0)
                best["back"] = numpy.maximum(best["back"], numpy.where(real, numpy.maximum(size[:, 0], 0.0), 0.0))
                best["fwd"] = numpy.maximum(best["fwd"], size[:, 1:].max(axis=1))
            else:
                best["fwd"] = numpy.maximum(best["fwd"], size.max(axis=1))
            closed &= ~go
            sign = numpy.where(go, numpy.sign(w), sign)
            none = go & (numpy.abs(w) < 1e-9 * thr)
            live &= ~none
            change |= go.any(axis=1)
        # Currents that have come to zero.
        out = live & ~closed & ((w * sign <= 1e-5 * thr)) & ~go & ~done[:, None]
        if out.any():
            live &= ~out
            change |= out.any(axis=1)
        if change.any():
            i = i * live[:, F:]
            if inside:
                alone = ~live[:, 0] & (live[:, 1:].sum(axis=1) <= 1)
                live[alone] = False
                # Without its joint the sum stays nothing.
                gone = ~live[:, 0]
                count = numpy.maximum(live[:, 1:].sum(axis=1), 1)
                i = numpy.where(gone[:, None] & live[:, 1:], i - (i.sum(axis=1) / count)[:, None], i) * live[:, 1:]
                live[~live[:, 1:].any(axis=1)] = False
            sign = numpy.where(live, sign, 0.0)
            at = numpy.flatnonzero(change)
            modes.update(at, live[:, F:], driven(), joint())
            last[at] = t[at]
        # A fuse that has surely melted ends what is told of the state.
        melted = (a2s >= fuse).any(axis=1)
        over = ~live.any(axis=1)
        done |= melted | over | (t > horizon)
        if done.all():
            break
    unfinished = ~done
    still = numpy.abs(total(i)) < 1e-3 * peak
    finished = (~live | still) & ~unfinished[:, None]
    use = numpy.ones((S, W), bool)
    if inside:
        use[:, 0] = (c["start"] != 2) | (c["x"] == 0.0)
    best["a2s"] = numpy.where(finished & use, a2s, 0.0).max(axis=1)
    best["clamp"] = numpy.where(use, clampv * charge, 0.0).max(axis=1)
    heat = numpy.sqrt(numpy.where(finished & use, shut, 0.0).max(axis=1) / given["switch"]["carry_s"])
    best["carry"] = numpy.maximum(numpy.where(use, peak, 0.0).max(axis=1), heat)
    best["who"] = numpy.stack([(clampv * charge * use).argmax(axis=1), (a2s * use * finished).argmax(axis=1)], axis=1)
    best["opens"], best["t"], best["unfinished"] = opens, t, unfinished
    return best
