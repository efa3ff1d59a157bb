"""Small raw files in the containers of camera makers, with what LibRaw (through rawpy) makes of them.

    python tests/outside/makers.py FOLDER > what-libraw-says.json

No real files of these makers are at hand. The layouts follow what the decoders of two general-purpose libraries (LibRaw,
rawler) read; LibRaw must give back the very samples that were put in, so that a file it reads stands in for a camera's.
Camera names are real because the decoders know each camera by its name; the pictures are simulated.
"""

import json
import struct
import sys

import numpy as np
import rawpy

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 1, 2, 3, 4, 5, 7
SIZE = {BYTE: 1, ASCII: 1, SHORT: 2, LONG: 4, RATIONAL: 8, UNDEFINED: 1}
CFA = {33421: (SHORT, [2, 2]), 33422: (BYTE, [0, 1, 1, 2])}


class Tiff:
    """A TIFF in memory: directories and blocks are placed as they come. `base` is added to every offset."""

    def __init__(self, order="<", magic=42, first=8, base=0):
        self.order, self.base = order, base
        self.bytes = bytearray((b"II" if order == "<" else b"MM") + struct.pack(order + "HI", magic, first))
        self.bytes += bytes(first - 8)

    def pack(self, kind, values):
        if isinstance(values, str):
            return values.encode() + b"\0"
        if isinstance(values, (bytes, bytearray)):
            return bytes(values)
        letter = {BYTE: "B", SHORT: "H", LONG: "I", RATIONAL: "I"}[kind]
        return struct.pack(f"{self.order}{len(values)}{letter}", *values)

    def block(self, data, align=2):
        self.bytes += bytes(-len(self.bytes) % align)
        self.bytes += data
        return len(self.bytes) - len(data) + self.base

    def directory(self, entries):
        """Places a directory of {tag: (kind, values)}."""
        packed = {tag: (kind, self.pack(kind, values)) for tag, (kind, values) in sorted(entries.items())}
        at = self.block(bytes(6 + 12 * len(packed))) - self.base
        out = struct.pack(self.order + "H", len(packed))
        for tag, (kind, data) in packed.items():
            out += struct.pack(self.order + "HHI", tag, kind, len(data) // SIZE[kind])
            out += data.ljust(4, b"\0") if len(data) <= 4 else struct.pack(self.order + "I", self.block(data))
        self.bytes[at : at + len(out)] = out
        return at + self.base

    def link(self, at, tag, values):
        """Fills offsets in that were not known when the directory was placed."""
        at -= self.base
        (count,) = struct.unpack_from(self.order + "H", self.bytes, at)
        for entry in range(at + 2, at + 2 + 12 * count, 12):
            if struct.unpack_from(self.order + "H", self.bytes, entry)[0] == tag:
                inside = 4 * len(values) <= 4
                (pointed,) = struct.unpack_from(self.order + "I", self.bytes, entry + 8)
                struct.pack_into(f"{self.order}{len(values)}I", self.bytes, entry + 8 if inside else pointed - self.base, *values)


def camera(make, model):
    return {271: (ASCII, make), 272: (ASCII, model), 274: (SHORT, [1])}


def exif(note):
    return {
        0x829A: (RATIONAL, [1, 250]), 0x829D: (RATIONAL, [8, 1]), 0x8827: (SHORT, [400]), 0x9003: (ASCII, "2024:05:06 07:08:09"),
        0x920A: (RATIONAL, [50, 1]), 0xA405: (SHORT, [75]), 0x927C: (UNDEFINED, note),
    }  # fmt: skip


def picture(width, height, white, black, seed):
    """Samples of an uneven picture with light's noise, and a blown corner."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[:height, :width]
    light = 0.02 + 0.5 * x / width * (0.4 + 0.6 * ((x // 40 + y // 40) % 2))
    light[: height // 12, : width // 12] = 1.5
    dn = random.poisson(light * 20_000) / 20_000 * (white - black) + random.normal(0, 3, light.shape)
    return np.clip(np.round(dn + black), 0, white).astype(np.uint16)


class Bits:
    """A stream of bits, the highest first."""

    def __init__(self):
        self.text = []

    def put(self, value, count):
        if count:
            self.text.append(format(value & ((1 << count) - 1), f"0{count}b"))

    def done(self):
        text = "".join(self.text)
        text += "0" * (-len(text) % 8)
        return int(text, 2).to_bytes(len(text) // 8, "big")


def codes(counts, values):
    """Canonical Huffman codes {value: (code, length)}; counts of codes by length, from 1."""
    out, code, values = {}, 0, iter(values)
    for length, count in enumerate(counts, 1):
        for _ in range(count):
            out[next(values)] = (code, length)
            code += 1
        code <<= 1
    return out


def two_back(samples, table, first):
    """Differences to the sample two columns before, and at the start of a row two rows before (NEF, PEF)."""
    bits, above = Bits(), [list(first[:2]), list(first[2:])]
    for y, row in enumerate(samples.astype(int).tolist()):
        before = above[y & 1]
        for x, sample in enumerate(row):
            difference = sample - before[x & 1]
            if x < 2:
                above[y & 1] = above[y & 1][:x] + [sample] + above[y & 1][x + 1 :]
            before = before[: x & 1] + [sample] + before[(x & 1) + 1 :]
            length = abs(difference).bit_length()
            bits.put(*table[length])
            bits.put(difference if difference > 0 else difference + (1 << length) - 1, length)
    return bits.done() + bytes(16)


# Lossy NEF, up to the split and from it on: of each code word the length of the difference, and 16 times the lower
# bits of it that are left out.
NIKON_LOSSY = {
    12: [
        codes([0, 1, 5, 1, 1, 1, 1, 1, 1, 1], [5, 4, 3, 6, 2, 7, 1, 0, 8, 9, 11, 10, 12]),
        codes([0, 1, 5, 1, 1, 1, 1, 1, 1, 1], [0x39, 0x5A, 0x38, 0x27, 0x16, 5, 4, 3, 2, 1, 0, 11, 12]),
    ],
    14: [
        codes([0, 1, 4, 3, 1, 1, 1, 1, 1, 2], [5, 6, 4, 7, 8, 3, 9, 2, 1, 0, 10, 11, 12, 13, 14]),
        codes([0, 1, 5, 1, 1, 1, 1, 1, 1, 1, 2], [8, 0x5C, 0x4B, 0x3A, 0x29, 7, 6, 5, 4, 3, 2, 1, 0, 13, 14]),
    ],
}
NIKON_STEP = 64


def nikon_lossy(samples, bits, order, first, split):
    """(data, note, what is left of the samples) of a lossy NEF: codes of a curve, from row `split` on with lower bits left out."""
    top = 1 << bits
    points = np.linspace(0, 1, top // NIKON_STEP + 1)
    points = np.round((top - 1) * (0.25 * points + 0.75 * points**2)).astype(int)
    part, whole = np.arange(top) % NIKON_STEP, np.arange(top) // NIKON_STEP
    curve = (points[whole] * (NIKON_STEP - part) + points[whole + 1] * part) // NIKON_STEP
    coded, above, left = Bits(), [list(first[:2]), list(first[2:])], np.zeros_like(samples)
    for y, row in enumerate(np.searchsorted(curve, samples).clip(0, top - 1).tolist()):
        by_length = {word & 15: (word >> 4, *code) for word, code in NIKON_LOSSY[bits][y >= split].items()}
        before = list(above[y & 1])
        for x, wanted in enumerate(row):
            difference = wanted - before[x & 1]
            length = abs(difference).bit_length()
            omitted, *code = by_length[length]
            stored = difference if difference > 0 else difference + (1 << length) - (omitted == 0)
            if difference < 0:
                stored = min(stored, (1 << length - 1) - 1)
            stored >>= omitted
            coded.put(*code)
            coded.put(stored, length - omitted)
            middle = (2 * stored + 1 << omitted) >> 1
            read = middle - ((1 << length) - (omitted == 0)) if difference < 0 else middle
            before[x & 1] += read
            if x < 2:
                above[y & 1][x] = before[x & 1]
            left[y, x] = curve[min(max(before[x & 1], 0), top - 1)]
    note = b"\x44\x20" + struct.pack(f"{order}{5 + len(points)}H", *first, len(points), *points)
    return coded.done() + bytes(16), note.ljust(562, b"\0") + struct.pack(order + "H", split) + bytes(30), left


def rw2(samples, bits, model):
    """Panasonic, raw format 5: samples packed from the lowest bit into 16 bytes, blocks of 16 KiB with their parts swapped."""
    height, width = samples.shape
    each = {12: 10, 14: 9}[bits]
    flat = samples.ravel().tolist()
    packed = b"".join(
        sum(sample << (bits * k) for k, sample in enumerate(flat[i : i + each])).to_bytes(16, "little")
        for i in range(0, len(flat), each)
    )
    packed += bytes(-len(packed) % 0x4000)
    split = 0x4000 - 0x1FF8
    blocks = (packed[i : i + 0x4000] for i in range(0, len(packed), 0x4000))
    data = b"".join(block[split:] + block[:split] for block in blocks)
    black = 32 << (bits - 10)
    tiff = Tiff(magic=85, first=24)
    shorts = {
        2: width, 3: height, 4: 8, 5: 8, 6: height - 4, 7: width - 60, 8: 1, 9: 4, 10: bits, 11: 34316, 0x17: 400,
        0x1C: black, 0x1D: black, 0x1E: black, 0x24: 570, 0x25: 263, 0x26: 438, 0x2D: 5, 0x116: height,
    }  # fmt: skip
    entries = camera("Panasonic", model) | {tag: (SHORT, [value]) for tag, value in shorts.items()}
    # The strip's offset is all ones, its length that of unpacked samples: the place of the data is in tag 0x118.
    entries |= {1: (UNDEFINED, b"0410"), 0x111: (LONG, [0xFFFFFFFF]), 0x117: (LONG, [2 * width * height])}
    root = tiff.directory(entries | {0x118: (LONG, [0]), 0x8769: (LONG, [0])})
    tiff.link(root, 0x8769, [tiff.directory(exif(b"Panasonic\0\0\0" + bytes(6)))])
    tiff.link(root, 0x118, [tiff.block(data, 2048)])
    return tiff.bytes


NIKON_LOSSLESS = {
    12: codes([0, 1, 4, 2, 3, 1, 2], [5, 4, 6, 3, 7, 2, 8, 1, 9, 0, 10, 11, 12]),
    14: codes([0, 1, 4, 2, 2, 3, 1, 2], [7, 6, 8, 5, 9, 4, 10, 3, 11, 12, 2, 0, 1, 13, 14]),
}


def nef(samples, bits, model, order, coding="plain", strips=1):
    """Nikon: 14 bits in 16, 12 bits packed, or coded without loss or with."""
    height, width = samples.shape
    tiff, note = Tiff(order), Tiff(order)
    black = [400 if bits == 14 and coding != "lossy" else 0] * 4
    entries = {1: (UNDEFINED, b"0211"), 0xC: (RATIONAL, [500, 256, 400, 256, 256, 256, 256, 256]), 0x3D: (SHORT, black)}
    if coding == "lossless":
        first = [1900, 2000, 2100, 2200]
        data = two_back(samples, NIKON_LOSSLESS[bits], first)
        entries |= {0x93: (SHORT, [3]), 0x96: (UNDEFINED, b"F0" + struct.pack(order + "5H", *first, 0) + bytes(32))}
    elif coding == "lossy":
        data, text, samples[:] = nikon_lossy(samples, bits, order, [1900, 2000, 2100, 2200], 300)
        entries |= {0x93: (SHORT, [4]), 0x96: (UNDEFINED, text)}
    elif coding == "packed":
        first, second = samples[:, 0::2], samples[:, 1::2]
        data = np.stack([first >> 4, (first & 15) << 4 | second >> 8, second & 255], -1).astype(np.uint8).tobytes()
    else:
        data = samples.astype(order + "u2").tobytes()
    note.directory(entries)
    thumbnail = {254: (LONG, [1]), 256: (LONG, [16]), 257: (LONG, [12]), 258: (SHORT, [8] * 3), 259: (SHORT, [1])}
    thumbnail |= {262: (SHORT, [2]), 277: (SHORT, [3]), 278: (LONG, [12]), 279: (LONG, [576]), 273: (LONG, [0])}
    root = tiff.directory(camera("NIKON CORPORATION", model) | thumbnail | {330: (LONG, [0]), 34665: (LONG, [0])})
    tiff.link(root, 273, [tiff.block(bytes(576))])
    tiff.link(root, 34665, [tiff.directory(exif(b"Nikon\0\x02\x11\0\0" + bytes(note.bytes)))])
    rows = -(-height // strips)
    lengths = [len(data)] if strips == 1 else [min(rows, height - k * rows) * len(data) // height for k in range(strips)]
    raw = {254: (LONG, [0]), 256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [bits]), 262: (SHORT, [32803])}
    raw |= {259: (SHORT, [34713 if "loss" in coding else 1]), 277: (SHORT, [1]), 278: (LONG, [rows])}
    sub = tiff.directory(raw | CFA | {273: (LONG, [0] * strips), 279: (LONG, lengths)})
    tiff.link(root, 330, [sub])
    at = tiff.block(data, 512)
    tiff.link(sub, 273, [at + sum(lengths[:k]) for k in range(strips)])
    return tiff.bytes


def sony_cipher(data, key):
    """The stream cipher of the block of levels; it is its own inverse."""
    pad = []
    for _ in range(4):
        key = (key * 48828125 + 1) & 0xFFFFFFFF
        pad.append(key)
    pad[3] = (pad[3] << 1 | (pad[0] ^ pad[2]) >> 31) & 0xFFFFFFFF
    for i in range(4, 127):
        pad.append(((pad[i - 4] ^ pad[i - 2]) << 1 | (pad[i - 3] ^ pad[i - 1]) >> 31) & 0xFFFFFFFF)
    pad = [int.from_bytes(word.to_bytes(4, "big"), "little") for word in pad] + [0]
    out = []
    for i, (word,) in enumerate(struct.iter_unpack("<I", data), 127):
        pad[i & 127] = pad[(i + 1) & 127] ^ pad[(i + 65) & 127]
        out.append(word ^ pad[i & 127])
    return struct.pack(f"<{len(out)}I", *out)


SONY_KNOTS = [8000, 10400, 12900, 14100]


def sony_lossy(samples):
    """Sixteen samples of a colour in sixteen bytes: (data, what is left of the samples)."""
    curve = [0]
    for value in range(1, 4096):
        curve.append(curve[-1] + (1 << sum(knot // 4 < value for knot in SONY_KNOTS)))
    curve = np.array(curve[::2])
    code_of = np.clip(np.searchsorted(curve, samples), 0, 0x7FF)
    data, left = bytearray(), np.zeros_like(code_of)
    for y, row in enumerate(code_of):
        for start in [32 * k + side for k in range(len(row) // 32) for side in (0, 1)]:
            block = [int(code) for code in row[start : start + 32 : 2][:16]]
            most, least = max(block), min(block)
            at_most, at_least = block.index(most), 15 - block[::-1].index(least)
            shift = next((n for n in range(4) if 0x80 << n > most - least), 4)
            word, at = most | least << 11 | at_most << 22 | at_least << 26, 30
            for k, code in enumerate(block):
                if k not in (at_most, at_least):
                    seven = (code - least) >> shift
                    word |= seven << at
                    at += 7
                    block[k] = min((seven << shift) + least, 0x7FF)
            data += word.to_bytes(16, "little")
            left[y, start : start + 32 : 2] = block
    return bytes(data), curve[left].astype(np.uint16)


def arw(samples, model, lossy=False):
    """Sony: 14 bits in 16, or the lossy compression."""
    height, width = samples.shape
    tiff = Tiff()
    root = tiff.directory(
        camera("SONY", model) | {254: (LONG, [1]), 330: (LONG, [0]), 34665: (LONG, [0]), 0xC634: (BYTE, bytes(4))}
    )
    note = struct.pack("<HHHI4sI", 1, 0xB020, ASCII, 4, b"Std\0", 0)
    tiff.link(root, 34665, [tiff.directory(exif(note))])
    data = samples.astype("<u2").tobytes()
    raw = {258: (SHORT, [14]), 259: (SHORT, [1])}
    if lossy:
        data, samples[:] = sony_lossy(samples)
        raw = {258: (SHORT, [8]), 259: (SHORT, [32767]), 0x7010: (SHORT, SONY_KNOTS)}
    raw |= {254: (LONG, [0]), 256: (LONG, [width]), 257: (LONG, [height]), 262: (SHORT, [32803]), 277: (SHORT, [1])}
    raw |= {278: (LONG, [height]), 279: (LONG, [len(data)]), 273: (LONG, [0]), 0x7310: (SHORT, [512] * 4)}
    sub = tiff.directory(raw | CFA)
    tiff.link(root, 330, [sub])
    levels = Tiff(base=len(tiff.bytes) - 8)
    levels.directory({0x7310: (SHORT, [512] * 4), 0x7313: (SHORT, [2000, 1024, 1024, 1600]), 0x787F: (SHORT, [15360] * 3)})
    hidden = bytes(levels.bytes[8:]) + bytes(-len(levels.bytes) % 4)
    at = tiff.block(sony_cipher(hidden, 0x12345678), 1)
    private = {0x7200: (LONG, [at]), 0x7201: (LONG, [len(hidden)]), 0x7221: (UNDEFINED, struct.pack("<I", 0x12345678))}
    tiff.link(root, 0xC634, [tiff.directory(private)])
    tiff.link(sub, 273, [tiff.block(data, 512)])
    return tiff.bytes


SIX_BY_SIX = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"


def raf(samples, model):
    """Fujifilm: an array of six by six, 14 bits in 16, the shot's data in the Exif of the preview."""
    height, width = samples.shape
    tiff = Tiff()
    root = tiff.directory(camera("FUJIFILM", model) | {34665: (LONG, [0])})
    note = b"FUJIFILM" + struct.pack("<IHHHI4sI", 12, 1, 0, UNDEFINED, 4, b"0130", 0)
    tiff.link(root, 34665, [tiff.directory(exif(note))])
    app1 = b"Exif\0\0" + bytes(tiff.bytes)
    preview = b"\xff\xd8\xff\xe1" + struct.pack(">H", len(app1) + 2) + app1 + b"\xff\xd9"
    layout = bytes("RGB".index(letter) for letter in reversed(SIX_BY_SIX))
    parts = {0x100: struct.pack(">2H", height, width), 0x110: struct.pack(">2H", 12, 6), 0x131: layout}
    parts |= {0x111: struct.pack(">2H", height - 24, width - 12), 0x2FF0: struct.pack(">4H", 302, 500, 302, 600)}
    records = struct.pack(">I", len(parts)) + b"".join(
        struct.pack(">2H", tag, len(data)) + data for tag, data in sorted(parts.items())
    )
    sensor = Tiff()
    outer = sensor.directory({0xF000: (LONG, [0])})
    raw = {0xF001: width, 0xF002: height, 0xF003: 14, 0xF007: 2048, 0xF008: 2 * width * height}
    raw = {tag: (LONG, [value]) for tag, value in raw.items()} | {0xF00A: (LONG, [1022] * 36), 0xF00E: (LONG, [302, 500, 600])}
    sensor.link(outer, 0xF000, [sensor.directory(raw)])
    data = bytes(sensor.bytes).ljust(2048, b"\0") + samples.astype("<u2").tobytes()
    at = [148, 148 + len(preview), (148 + len(preview) + len(records) + 511) // 512 * 512]
    head = b"FUJIFILMCCD-RAW 0201FF129502" + model.encode().ljust(32, b"\0") + b"0100" + bytes(20)
    head += struct.pack(">6I", at[0], len(preview), at[1], len(records), at[2], len(data))
    return (head.ljust(148, b"\0") + preview + records).ljust(at[2], b"\0") + data


PENTAX = codes([0, 2, 3, 1, 1, 1, 1, 1, 1, 2], [3, 4, 2, 5, 1, 6, 0, 7, 8, 9, 10, 11, 12])


def pef(samples, model):
    """Pentax: coded without loss, big-endian, the code's table in the maker note."""
    height, width = samples.shape
    tiff = Tiff(">")
    raw = {256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [12]), 259: (SHORT, [65535]), 262: (SHORT, [32803])}
    raw |= {277: (SHORT, [1]), 278: (LONG, [height]), 273: (LONG, [0]), 279: (LONG, [0]), 34665: (LONG, [0])}
    root = tiff.directory(camera("PENTAX Corporation", model) | raw)
    table = [PENTAX[length] for length in range(13)]
    coded = struct.pack(">H12x", len(table) - 12) + b"".join(struct.pack(">H", c << (12 - n)) for c, n in table)
    coded += bytes(n for _, n in table)
    # The note's offsets count from the start of the file: its place must be known first.
    room = tiff.block(bytes(240))
    note = Tiff(">", base=room + 6 - 8)
    note.directory({0x200: (SHORT, [0] * 4), 0x201: (SHORT, [12000, 8192, 8192, 10000]), 0x220: (UNDEFINED, coded)})
    body = (b"AOC\0MM" + bytes(note.bytes[8:])).ljust(240, b"\0")
    tiff.bytes[room : room + 240] = body
    shot = tiff.directory(exif(bytes(240)))
    tiff.link(shot, 0x927C, [room])
    tiff.link(root, 34665, [shot])
    data = two_back(samples, PENTAX, [0] * 4)
    tiff.link(root, 279, [len(data)])
    tiff.link(root, 273, [tiff.block(data, 512)])
    return tiff.bytes


def files():
    """Name, samples and bytes of each."""
    made = [
        ("g9.rw2", rw2, picture(1200, 900, 4095, 128, 1), [12, "DC-G9"]),
        ("gh5s.rw2", rw2, picture(1197, 900, 16383, 512, 2), [14, "DC-GH5S"]),
        ("d850.nef", nef, picture(720, 480, 16383, 400, 3), [14, "NIKON D850", "<"]),
        ("d500.nef", nef, picture(720, 480, 16383, 400, 4), [14, "NIKON D500", "<", "plain", 7]),
        ("d300.nef", nef, picture(720, 480, 4095, 0, 5), [12, "NIKON D300", ">", "packed"]),
        ("d810.nef", nef, picture(720, 480, 16383, 400, 6), [14, "NIKON D810", ">", "lossless"]),
        ("d610.nef", nef, picture(720, 480, 4095, 0, 10), [12, "NIKON D610", "<", "lossless"]),
        ("d7000.nef", nef, picture(720, 480, 16000, 0, 12), [14, "NIKON D7000", "<", "lossy"]),
        ("d600.nef", nef, picture(720, 480, 3900, 0, 13), [12, "NIKON D600", ">", "lossy"]),
        ("a7r2.arw", arw, picture(736, 480, 15360, 512, 11), ["ILCE-7RM2", True]),
        ("a7r3.arw", arw, picture(720, 480, 15360, 512, 7), ["ILCE-7RM3"]),
        ("xt2.raf", raf, picture(720, 480, 16383, 1022, 8), ["X-T2"]),
        ("k10d.pef", pef, picture(720, 480, 4095, 0, 9), ["PENTAX K10D"]),
    ]
    return [(name, samples, bytes(write(samples, *rest))) for name, write, samples, rest in made]


def main():
    answers = {}
    for name, samples, data in files():
        path = f"{sys.argv[1]}/{name}"
        with open(path, "wb") as file:
            file.write(data)
        with rawpy.imread(path) as raw:
            image, letters = raw.raw_image, raw.color_desc.decode()
            assert image.shape == samples.shape and (image == samples).all(), f"{name}: LibRaw reads other samples"
            values = image.astype(np.uint64).ravel()
            answers[name] = {
                "width": image.shape[1],
                "height": image.shape[0],
                "sum": str(int(values.sum())),
                "weighted": str(int((values * np.arange(1, values.size + 1, dtype=np.uint64)).sum())),
                # rawpy gives only the first row of larger arrays.
                "filters": SIX_BY_SIX if name.endswith("raf") else "".join(letters[k] for k in raw.raw_colors[:6, :6].flat),
            }
    json.dump(answers, sys.stdout)


if __name__ == "__main__":
    main()
