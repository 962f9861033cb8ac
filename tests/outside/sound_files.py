"""Reads and writes sound files with numpy and struct alone (FLAC through the `flac` program).

Samples are float64 arrays of shape (frames, channels); full scale is +-1.0.
"""

import os
import struct
import subprocess
from dataclasses import dataclass

import numpy as np


@dataclass
class Sound:
    rate_hz: int
    samples: np.ndarray

    def channel(self, number):
        return self.samples[:, number - 1]


def _chunks(data):
    """Yields (name, start, size) of the chunks of a RIFF or RF64 file."""
    if data[:4] not in (b"RIFF", b"RF64") or data[8:12] != b"WAVE":
        raise ValueError("not a WAV file")
    data_size_64 = None
    position = 12
    while position + 8 <= len(data):
        name = data[position:position + 4]
        size = struct.unpack_from("<I", data, position + 4)[0]
        if name == b"ds64":
            data_size_64 = struct.unpack_from("<Q", data, position + 16)[0]
        if name == b"data" and size == 0xFFFFFFFF and data_size_64 is not None:
            size = data_size_64
        yield name, position + 8, size
        position += 8 + size + (size & 1)


def read_wav(path):
    with open(path, "rb") as file:
        data = file.read()
    code = channels = rate = bits = None
    for name, start, size in _chunks(data):
        if name == b"fmt ":
            code, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", data, start)
            if code == 0xFFFE:
                code = struct.unpack_from("<H", data, start + 24)[0]
        elif name == b"data":
            size = min(size, len(data) - start)
            raw = np.frombuffer(data, np.uint8, size, start)
            return Sound(rate, _decode(raw, code, bits).reshape(-1, channels))
    raise ValueError("no sound data in " + str(path))


def _decode(raw, code, bits):
    if code == 3:
        return raw.view("<f4" if bits == 32 else "<f8").astype(float)
    if bits == 16:
        return raw.view("<i2") / 32768.0
    if bits == 32:
        return raw.view("<i4") / 2147483648.0
    if bits == 24:
        wide = np.zeros((raw.size // 3, 4), np.uint8)
        wide[:, 1:] = raw[:wide.shape[0] * 3].reshape(-1, 3)
        return (wide.reshape(-1).view("<i4") >> 8) / 8388608.0
    raise ValueError(f"WAV of format {code} with {bits} bits")


def to_integers(samples, bits):
    """Rounds to the grid of a converter and holds what is beyond full scale."""
    top = 2 ** (bits - 1)
    return np.clip(np.rint(np.asarray(samples, float) * top), -top, top - 1).astype(np.int32)


def write_wav(path, rate_hz, samples, kind="pcm24"):
    """Kinds: pcm16, pcm24, float, and rf64 (24 bits behind a header for files without a size limit)."""
    samples = np.asarray(samples, float)
    if samples.ndim == 1:
        samples = samples[:, None]
    frames, channels = samples.shape
    if kind == "float":
        code, bits, body = 3, 32, samples.astype("<f4").tobytes()
    elif kind == "pcm16":
        code, bits, body = 1, 16, to_integers(samples, 16).astype("<i2").tobytes()
    else:
        code, bits = 1, 24
        body = to_integers(samples, 24).reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    frame_bytes = channels * bits // 8
    form = struct.pack("<HHIIHH", code, channels, rate_hz, rate_hz * frame_bytes, frame_bytes, bits)
    pad = b"\0" * (len(body) & 1)
    with open(path, "wb") as file:
        if kind == "rf64":
            size = 4 + 8 + 28 + 8 + len(form) + 8 + len(body) + len(pad)
            file.write(b"RF64" + struct.pack("<I", 0xFFFFFFFF) + b"WAVE")
            file.write(b"ds64" + struct.pack("<IQQQI", 28, size, len(body), frames, 0))
            data_size = 0xFFFFFFFF
        else:
            file.write(b"RIFF" + struct.pack("<I", 4 + 8 + len(form) + 8 + len(body) + len(pad)) + b"WAVE")
            data_size = len(body)
        file.write(b"fmt " + struct.pack("<I", len(form)) + form)
        file.write(b"data" + struct.pack("<I", data_size) + body + pad)


def write_aiff(path, rate_hz, samples):
    """24 bits, high byte first; the rate as an 80-bit float (Apple, Audio Interchange File Format 1.3, 1989)."""
    samples = np.asarray(samples, float)
    if samples.ndim == 1:
        samples = samples[:, None]
    frames, channels = samples.shape
    body = to_integers(samples, 24).astype(">i4").reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, 1:].tobytes()
    power = int(rate_hz).bit_length() - 1
    rate = struct.pack(">HQ", 16383 + power, int(rate_hz) << (63 - power))
    common = struct.pack(">hIh", channels, frames, 24) + rate
    pad = b"\0" * (len(body) & 1)
    with open(path, "wb") as file:
        file.write(b"FORM" + struct.pack(">I", 4 + 8 + len(common) + 16 + len(body) + len(pad)) + b"AIFF")
        file.write(b"COMM" + struct.pack(">I", len(common)) + common)
        file.write(b"SSND" + struct.pack(">III", 8 + len(body), 0, 0) + body + pad)


def write_flac(path, rate_hz, samples, bits=24):
    between = str(path) + ".between.wav"
    write_wav(between, rate_hz, samples, f"pcm{bits}")
    try:
        subprocess.run(["flac", "--totally-silent", "--force", "--fast", "-o", str(path), between], check=True)
    finally:
        os.remove(between)
