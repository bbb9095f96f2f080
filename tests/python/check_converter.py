"""Amplifier and converter: error budget, resolution and noise, filters and delays, words."""

import math

import numpy
import scipy.constants
import scipy.integrate

from harness import check, hunt

NOISES = (
    {
        "amplifier.noise_v_per_rthz": 1e-7,
        "amplifier.bandwidth_hz": 1e3,
        "filter.corner_hz": 1e3,
        "converter.oversampling": 1,
    },
    {"amplifier.noise_v_per_rthz": 3e-8, "amplifier.noise_corner_hz": 50.0, "converter.noise_v": 8e-6},
    {"filter.capacitance_farad": 1e-8, "converter.noise_v": 2e-6, "converter.bits": 20, "converter.inl_ppm": 60.0},
    {
        "filter.corner_hz": 2e3,
        "converter.sinad_db": 84.0,
        "converter.oversampling": 1,
        "converter.bipolar": False,
        "amplifier.noise_v_per_rthz": 1e-8,
    },
)


@check("/api/v1/converter", "converter: noise", "scipy quad over the spectrum, numpy quantiser", 1e-7, *NOISES)
def converter_noise(given, result):
    amplifier, converter, low_pass, found = (
        given["amplifier"],
        given["converter"],
        given["filter"],
        result["resolution"],
    )
    span = converter["full_scale_v"] * (2.0 if converter["bipolar"] else 1.0)
    step = span / 2 ** converter["bits"]
    yield "lsb_v", found["lsb_v"], step
    yield (
        "quantisation_v",
        found["quantisation_v"] * amplifier["gain"],
        numpy.sqrt(scipy.integrate.quad(lambda v: v * v / step, -step / 2, step / 2)[0]),
    )
    sine = span / 2 / math.sqrt(2)
    yield "ideal_snr_db", found["ideal_snr_db"], 20 * numpy.log10(sine / (step / math.sqrt(12)))

    corner = None
    if "corner_hz" in low_pass:
        corner = low_pass["corner_hz"]
    elif "capacitance_farad" in low_pass:
        corner = 1 / (2 * math.pi * low_pass["resistance_ohm"] * low_pass["capacitance_farad"])

    def passed(*poles):
        """What separate poles let through of white noise: their power response integrated on a logarithmic axis."""
        axis = numpy.linspace(math.log(min(poles)) - 40.0, math.log(max(poles)) + 40.0, 200_001)
        power = numpy.exp(axis) / numpy.prod([1 + (numpy.exp(axis) / pole) ** 2 for pole in poles], axis=0)
        return scipy.integrate.simpson(power, x=axis)

    # The low-pass stands behind the amplifier: the amplifier's noise passes both, its own passes it alone.
    bandwidth = passed(*filter(None, (amplifier["bandwidth_hz"], corner)))
    behind = analogue = passed(corner or amplifier["bandwidth_hz"])
    # So it is for the decimating filter, and the narrower of the two counts.
    if converter["oversampling"] > 1:
        order = 2 * converter["filter_order"]
        lobes = [scipy.integrate.quad(lambda x: numpy.sinc(x) ** order, n, n + 1, epsrel=1e-12)[0] for n in range(200)]
        decimated = converter["data_rate_hz"] * math.fsum(lobes)
        bandwidth, behind = min(bandwidth, decimated), min(behind, decimated)
    yield "noise_bandwidth_hz", found["noise_bandwidth_hz"], bandwidth
    white = amplifier["noise_v_per_rthz"] * math.sqrt(bandwidth)
    yield "amplifier_white_v", found["amplifier_white_v"], white
    # The 1/f part over the decades above 0.1 Hz, integrated on a logarithmic axis.
    power = amplifier["noise_v_per_rthz"] ** 2 * amplifier["noise_corner_hz"]
    flicker, _ = scipy.integrate.quad(lambda _: power, math.log(0.1), math.log(bandwidth))
    yield "amplifier_flicker_v", found["amplifier_flicker_v"], math.sqrt(flicker)
    sampled = 0.0
    if "capacitance_farad" in low_pass:
        kelvin = given["ambient_max_degc"] + scipy.constants.zero_Celsius
        # kT/C lies in the band of the low-pass; the decimating filter takes its part.
        sampled = math.sqrt(scipy.constants.k * kelvin / low_pass["capacitance_farad"]) / amplifier["gain"]
        sampled *= math.sqrt(behind / analogue)
        yield "sampled_v", found["sampled_v"], sampled
    own = converter.get("noise_v", sine / 10 ** (converter.get("sinad_db", numpy.inf) / 20)) / amplifier["gain"]
    yield "converter_v", found["converter_v"], own
    single = math.hypot(white, sampled, own, math.sqrt(flicker))
    yield "noise_v", found["noise_v"], single
    # The average sees the band up to half its own rate, but never falls faster than independent samples do.
    count = given["averaging"]
    half_rate = converter["data_rate_hz"] / count / 2
    kept = [max(1 / count, min(1.0, half_rate / band)) for band in (bandwidth, behind)]
    averaged = math.hypot(
        white * math.sqrt(kept[0]), sampled * math.sqrt(kept[1]), own / math.sqrt(count), math.sqrt(flicker)
    )
    yield "averaged_v", found["averaged_v"], averaged
    noise_free = numpy.log2(span / amplifier["gain"] / (6.6 * single))
    yield "noise_free_bits", found["noise_free_bits"], min(max(noise_free, 0.0), converter["bits"])
    if "inl_ppm" in converter:
        yield "accuracy_bits", found["accuracy_bits"], -numpy.log2(converter["inl_ppm"] * 1e-6)


FILTERS = (
    {},
    {"converter.filter_order": 4, "converter.oversampling": 64, "signals.ripple_frequency_hz": 8300.0, "averaging": 7},
    {
        "converter.filter_order": 1,
        "converter.oversampling": 32,
        "converter.data_rate_hz": 1e3,
        "signals.ripple_frequency_hz": 12345.0,
        "filter.corner_hz": 3e3,
    },
    {
        "converter.filter_order": 2,
        "converter.data_rate_hz": 5e4,
        "signals.ripple_frequency_hz": 1e3,
        "filter.capacitance_farad": 1e-7,
    },
)


@check("/api/v1/converter", "converter: filters and delay", "numpy impulse responses and phasors", 1e-7, *FILTERS)
def converter_filters(given, result):
    converter, found = given["converter"], result["timing"]
    frequency, rate = given["signals"]["ripple_frequency_hz"], converter["data_rate_hz"]
    clock = rate * converter["oversampling"]

    def gain(response, at):
        """Of a filter with this impulse response, by summing the phasors of its taps."""
        taps = numpy.arange(len(response))
        return abs(numpy.sum(response * numpy.exp(-2j * numpy.pi * frequency / at * taps)))

    box = numpy.full(converter["oversampling"], 1 / converter["oversampling"])
    response = numpy.ones(1)
    for _ in range(converter["filter_order"]):
        response = numpy.convolve(response, box)
    mean = numpy.full(given["averaging"], 1 / given["averaging"])
    total = 1.0
    for name, value in (("sinc_db", gain(response, clock)), ("average_db", gain(mean, rate))):
        # Near a zero of the filter the decibels are made of rounding errors.
        if value > 1e-9:
            yield name, found[name], 20 * numpy.log10(value)
        total *= value
    low_pass = given["filter"]
    if "corner_hz" in low_pass or "capacitance_farad" in low_pass:
        series = low_pass["resistance_ohm"] or 1.0
        farad = low_pass.get("capacitance_farad") or 1 / (2 * math.pi * series * low_pass["corner_hz"])
        impedance = 1 / (2j * math.pi * frequency * farad)
        value = abs(impedance / (series + impedance))
        yield "low_pass_db", found["low_pass_db"], 20 * numpy.log10(value)
        total *= value
    yield "ripple_gain", found["ripple_gain"], total, 1e-9
    # The centre of gravity of a symmetric response is its delay.
    yield "sinc_group_delay_s", found["sinc_group_delay_s"], numpy.sum(response * numpy.arange(len(response))) / clock
    # Folded into the first zone by the remainder of a division.
    yield "alias_hz", found["alias_hz"], abs((frequency + rate / 2) % rate - rate / 2), 1e-6 * rate
    yield "transport_s", found["transport_s"], given["link"]["bits_per_sample"] / given["link"]["isolator_bit_rate_hz"]
    # A step that just missed the start of a block of samples: the rest of that block, then a whole one.
    missed, whole = given["averaging"] - 1, given["averaging"]
    yield "averaging_s", found["averaging_s"], (missed + whole) / rate


PARTS = 40_000


def drawn(random):
    """An amplifier before a converter; the peak lies near the end of the range of the worst part, on either side."""
    upto = lambda most: 0.0 if random.random() < 0.3 else float(most * random.random())
    full, gain = float(random.choice([0.05, 0.25, 2.0])), float(random.choice([1.0, 5.0, 20.0]))
    swing = full * random.uniform(0.7, 1.3)
    bipolar = bool(random.random() < 0.6)
    case = {
        "amplifier.gain": gain,
        "amplifier.gain_error_percent": upto(1),
        "amplifier.gain_drift_ppm_per_k": upto(100),
        "amplifier.offset_v": upto(0.01 * full / gain),
        "amplifier.offset_drift_v_per_k": upto(1e-4 * full / gain),
        "amplifier.common_mode_v": upto(5),
        "amplifier.common_mode_rejection_db": random.uniform(70, 110),
        "amplifier.output_max_v": swing,
        "amplifier.output_min_v": -swing if bipolar else -0.1 * full,
        "amplifier.input_max_v": full / gain * random.uniform(0.7, 1.5),
        "amplifier.input_min_v": -full / gain * random.uniform(0.7, 1.5),
        "converter.full_scale_v": full,
        "converter.bipolar": bipolar,
        "converter.offset_v": upto(0.01 * full),
        "converter.offset_drift_v_per_k": upto(1e-5 * full),
        "converter.gain_error_percent": upto(1),
        "converter.gain_drift_ppm_per_k": upto(100),
        "converter.reference_error_percent": upto(0.5),
        "converter.reference_drift_ppm_per_k": upto(50),
        "converter.data_rate_hz": 10 ** random.uniform(3, 5.5),
        "link.bits_per_sample": int(random.integers(12, 40)),
        "ambient_min_degc": random.uniform(-40, 20),
        "ambient_max_degc": random.uniform(40, 105),
    }
    case["signals.peak_v"] = _clips(case, random) * float(random.choice([random.uniform(0.6, 0.97), random.uniform(1.03, 1.3)]))
    needed = case["converter.data_rate_hz"] * case["link.bits_per_sample"]
    case["link.isolator_bit_rate_hz"] = max(1e3, needed * float(random.choice([random.uniform(0.5, 0.97), random.uniform(1.03, 3)])))
    return case


def _clips(case, random, calibrated_degc=25.0):
    """The smallest signal, either way where the converter is bipolar, at which one of many parts is at an end."""
    value = lambda group, name: case[f"{group}.{name}"]
    # Half of the parts stand at corners, where the worst is.
    draw = lambda: numpy.where(random.random(PARTS) < 0.8, random.choice([-1.0, 1.0], PARTS), random.uniform(-1, 1, PARTS))
    degc = numpy.where(random.random(PARTS) < 0.5, case["ambient_min_degc"], case["ambient_max_degc"])
    away = degc - calibrated_degc
    amplifier = lambda name: value("amplifier", name)
    converter = lambda name: value("converter", name)
    slope = amplifier("gain") * (1 + draw() * amplifier("gain_error_percent") / 100 + draw() * amplifier("gain_drift_ppm_per_k") * 1e-6 * away)
    common = amplifier("common_mode_v") / 10 ** (amplifier("common_mode_rejection_db") / 20)
    before = draw() * amplifier("offset_v") + draw() * amplifier("offset_drift_v_per_k") * away + draw() * common
    code = 1 + draw() * converter("gain_error_percent") / 100 + draw() * converter("gain_drift_ppm_per_k") * 1e-6 * away
    against = 1 + draw() * converter("reference_error_percent") / 100 + draw() * converter("reference_drift_ppm_per_k") * 1e-6 * away
    beside = draw() * converter("offset_v") + draw() * converter("offset_drift_v_per_k") * away
    top = converter("full_scale_v") * against / code - beside
    ends = [amplifier("input_max_v"), amplifier("output_max_v") / slope - before, top / slope - before]
    if converter("bipolar"):
        low = -converter("full_scale_v") * against / code - beside
        ends += [-amplifier("input_min_v"), -(amplifier("output_min_v") / slope - before), -(low / slope - before)]
    return float(min(numpy.min(end) for end in ends))


@hunt("/api/v1/converter", "converter: no part clips earlier", f"{PARTS} parts", drawn)
def parts(given, result, random):
    case = {f"{group}.{name}": value for group in ("amplifier", "converter") for name, value in given[group].items()}
    case |= {name: given[name] for name in ("ambient_min_degc", "ambient_max_degc")}
    yield "converter.peak", 0, given["signals"]["peak_v"] / _clips(case, random, given["calibration_degc"])
    needed = given["converter"]["data_rate_hz"] * given["link"]["bits_per_sample"]
    yield "converter.bit-rate", 0, needed / given["link"]["isolator_bit_rate_hz"]
