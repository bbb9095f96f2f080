"""The budget that the benchmark's peers work out: 22 sources, the same as in core/benches/uncertainty.rs.

A product of eleven gains with relative errors, and eleven offsets against a reading of 100; `error` is the deviation.
"""

GAINS = 11
# A normal limit is two standard deviations.
SHAPES = ["rectangular"] * 11 + ["triangular"] * 4 + ["normal"] * 7
SOURCES = [(shape, 1e-4 * (1 + index)) for index, shape in enumerate(SHAPES)]


def error(values):
    """The model, for floats, arrays and uncertain numbers alike; `values` may be drawn one by one."""
    values = iter(values)
    gain = 1.0
    for _ in range(GAINS):
        gain = gain * (next(values) + 1.0)
    offset = 0.0
    for value in values:
        offset = offset + value
    return gain + offset / 100.0 - 1.0
