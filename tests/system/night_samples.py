#!/usr/bin/python3
"""The samples of a night without Roomwake: Python's own sqlite3 and the zstd of Debian's
python3-zstandard are enough. `night_samples.py NIGHT` prints node, channel, time (ns since 1970)
and value of every sample, block by block.

This is the reader for those who don't trust the program that wrote the file; DEVELOPERS.md has the
same in words. Must never use anything of Roomwake's.
"""
import decimal
import sqlite3
import struct
import sys

import zstandard

MASK = 0xffffffff
RUN = 256     # residuals that share a Rice parameter
ESCAPE = 24   # so many ones: 32 plain bits follow


def varint(data, at):
    value, shift = 0, 0
    while True:
        byte = data[at]
        at += 1
        value |= (byte & 0x7f) << shift
        shift += 7
        if byte < 0x80:
            return value, at


def unzigzag(value):
    return value >> 1 ^ -(value & 1)


def signed32(value):
    value &= MASK
    return value - (1 << 32) if value >> 31 else value


def unpack(data, most):
    return zstandard.ZstdDecompressor().decompress(data, max_output_size=most)


def rice(data, count):
    """Codec 1: per 256 residuals a parameter k in 5 bits; each is its high part in ones and a
    zero, then k bits."""
    bits = int.from_bytes(data, "big")
    left = len(data) * 8

    def take(width):
        nonlocal left
        left -= width
        return bits >> left & ((1 << width) - 1)

    residuals = []
    for i in range(count):
        if i % RUN == 0:
            k = take(5)
        ones = 0
        while ones < ESCAPE and take(1):
            ones += 1
        residuals.append(take(32) if ones == ESCAPE else ones << k | take(k))
    return residuals


def planes(data, count):
    """Codec 2: the residuals' byte planes, lowest first, under zstd."""
    plain = unpack(data, 4 * count)
    return [sum(plain[plane * count + i] << 8 * plane for plane in range(len(plain) // count))
            for i in range(count)]


def predicted(data, codec, count):
    """Codecs 3 and 4: order, shift, mean and taps, then residuals as codec 1 or 2."""
    order, shift, at = data[0] & 0x7f, data[1], 2
    mean, at = varint(data, at)
    mean, taps, counts = signed32(unzigzag(mean)), [], []
    for _ in range(order):
        tap, at = varint(data, at)
        taps.append(unzigzag(tap))
    for i, residual in enumerate((rice if codec == 3 else planes)(data[at:], count)):
        if i < order:
            guess = counts[-1] if counts else mean
        else:
            guess = mean + (sum(tap * (counts[-1 - j] - mean)
                                for j, tap in enumerate(taps)) >> shift)
        counts.append(signed32(guess + unzigzag(residual)))
    return counts


def counts_of(codec, data, count):
    if codec == 0:
        return list(struct.unpack(f"<{count}i", data))
    if codec in (3, 4):
        return predicted(data, codec, count)
    order, at, seeds = data[0], 1, []
    for _ in range(max(order, 1)):
        seed, at = varint(data, at)
        seeds.append(signed32(unzigzag(seed)))
    residuals = (rice if codec == 1 else planes)(data[at:], count - order)
    counts = seeds if order else []
    for residual in residuals:
        guess = (seeds[0] if order == 0 else counts[-1] if order == 1
                 else 2 * counts[-1] - counts[-2])
        counts.append(signed32(guess + unzigzag(residual)))
    return counts


def decimals_of(codec, data, count):
    """Codecs 16 and 17: per sample the change of the exponent of ten, and the mantissa."""
    if codec == 17:
        data = unpack(data, 16 * count + 64)
    values, at, exponent = [], 0, 0
    for _ in range(count):
        step, at = varint(data, at)
        mantissa, at = varint(data, at)
        exponent += unzigzag(step)
        values.append(decimal.Decimal(unzigzag(mantissa)).scaleb(exponent))
    return values


def cuts_of(data, t0_ns):
    """Whose messages: (number, samples, first sample's time, period in ps, 0: the block's times)."""
    plain = data[1:] if data[0] == 0 else unpack(data[1:], 1 << 20)
    cuts, at = [], 0
    seq, count, start, period = 1, 0, t0_ns, 0  # what the next cut is expected to be
    while at < len(plain):
        numbers = []
        for _ in range(5):
            number, at = varint(plain, at)
            numbers.append(unzigzag(number))
        seq, count, start, period = (seq + numbers[0], count + numbers[1], start + numbers[2],
                                     period + numbers[3])
        cuts.append((seq, count, start, period))
        seq, start = seq + 1, start + (count * period + 500) // 1000
    return cuts


def times_of(t0_ns, cuts, data, count):
    if data is None:
        return [start + (i * period + 500) // 1000
                for _, samples, start, period in cuts_of(cuts, t0_ns) for i in range(samples)]
    plain = data[1:] if data[0] == 0 else unpack(data[1:], 16 * count + 64)
    times, at, step = [t0_ns], 0, 0
    for _ in range(count - 1):
        change, at = varint(plain, at)
        step += unzigzag(change)
        times.append(times[-1] + step)
    return times


def blocks(path):
    """Yields (node, channel, unit, times in ns, exact values) for every block of the night."""
    night = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    for (node, channel, unit, step_m, step_e, offset_m, offset_e, t0_ns, cuts, count, codec,
         times, samples) in night.execute(
            "SELECT node.name, channel.name, unit, step_mantissa, step_exponent, offset_mantissa,"
            " offset_exponent, t0_ns, cuts, n, codec, times, samples"
            " FROM block JOIN channel ON channel.id = block.channel"
            " JOIN boot ON boot.id = channel.boot JOIN node ON node.id = boot.node"
            " ORDER BY block.id"):
        if codec >= 16:
            values = decimals_of(codec, samples, count)
        else:
            step = decimal.Decimal(step_m).scaleb(step_e)
            offset = decimal.Decimal(offset_m).scaleb(offset_e)
            values = [one * step + offset for one in counts_of(codec, samples, count)]
        yield node, channel, unit, times_of(t0_ns, cuts, times, count), values
    night.close()


def main():
    decimal.getcontext().prec = 60
    for node, channel, unit, times, values in blocks(sys.argv[1]):
        for time_ns, value in zip(times, values):
            print(node, channel, time_ns, value, unit)


if __name__ == "__main__":
    main()
