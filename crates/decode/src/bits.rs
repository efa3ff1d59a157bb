//! Coded data bit by bit: a Huffman code word and the difference that follows it, mostly found in one table.

use crate::ljpeg::Code;

/// Bits by which code word and difference are found at once.
const SHORT: u32 = 12;
/// Coded bytes that are unstuffed at a time, at least.
const BLOCK: usize = 1 << 16;
/// Bytes of zeros after the coded data: whole words can be read, and a stream that is too short ends in them.
const ZEROS: usize = 64;

/// A Huffman table by the next bits.
pub(crate) struct Table<'a> {
    /// Difference above, bits of code word and difference below; 0 where they are longer than [`SHORT`] together.
    short: Box<[u32; 1 << SHORT]>,
    /// By the next 16 bits.
    whole: &'a [Code],
}

impl<'a> Table<'a> {
    pub(crate) fn new(whole: &'a [Code]) -> Self {
        let mut short = Box::new([0_u32; 1 << SHORT]);
        for (i, entry) in short.iter_mut().enumerate() {
            let Some(code) = whole.get(i << (16 - SHORT)) else { break };
            let bits = u32::from(code.bits) + u32::from(code.extra);
            if code.bits > 0 && bits <= SHORT {
                let value = (i >> (SHORT - bits)) as u32 & ((1 << code.extra) - 1);
                *entry = u32::from(difference(value, *code)) << 16 | bits;
            }
        }
        Self { short, whole }
    }
}

/// The difference that the bits behind a code word stand for, modulo 2^16 (T.81, table H.2); of bits that were left out the
/// middle.
fn difference(value: u32, code: Code) -> u16 {
    let length = code.extra + code.omitted;
    let middle = (2 * value + 1) << code.omitted >> 1;
    let negative = length > 0 && middle < 1 << (length - 1);
    let below = (1_u32 << length) - u32::from(code.omitted == 0);
    if negative { (middle as u16).wrapping_sub(below as u16) } else { middle as u16 }
}

/// The coded data, bit by bit from the most significant on.
pub(crate) struct Bits<'a> {
    source: &'a [u8],
    /// A zero follows each 0xFF of the data.
    stuffed: bool,
    /// Unstuffed data, from `place` on not yet in the pool.
    plain: Vec<u8>,
    place: usize,
    /// The next bits at its upper end, `held` of them certain.
    pool: u64,
    held: u32,
    /// A code word that is none was met.
    no_code: bool,
}

impl<'a> Bits<'a> {
    pub(crate) fn new(source: &'a [u8], stuffed: bool) -> Self {
        Self { source, stuffed, plain: Vec::with_capacity(2 * BLOCK), place: 0, pool: 0, held: 0, no_code: false }
    }

    /// Sees to it that so many bytes are unstuffed, as far as the stream goes.
    pub(crate) fn reserve(&mut self, bytes: usize) {
        if self.plain.len().saturating_sub(self.place) >= bytes + ZEROS {
            return;
        }
        self.plain.drain(..self.place.min(self.plain.len()));
        self.place = 0;
        let wanted = (bytes + ZEROS).max(BLOCK);
        while self.plain.len() < wanted && !self.source.is_empty() {
            let ahead = wanted.min(self.source.len());
            if self.stuffed {
                self.unstuff(ahead);
            } else {
                let (next, rest) = self.source.split_at(ahead);
                self.plain.extend_from_slice(next);
                self.source = rest;
            }
        }
    }

    /// Moves coded data on, the zero after each 0xFF left out; any other marker ends them.
    fn unstuff(&mut self, ahead: usize) {
        let mut at = 0;
        while at < ahead {
            // Stretches without 0xFF are tested and taken at once.
            if let Some(stretch) = self.source[at..].first_chunk::<32>()
                && !stretch.iter().fold(false, |any, &b| any | (b == 0xff))
            {
                self.plain.extend_from_slice(stretch);
                at += stretch.len();
                continue;
            }
            for _ in 0..32 {
                let Some(&byte) = self.source.get(at) else { break };
                if byte == 0xff {
                    if self.source.get(at + 1) != Some(&0) {
                        self.source = &[];
                        return;
                    }
                    at += 1;
                }
                self.plain.push(byte);
                at += 1;
            }
        }
        self.source = self.source.get(at..).unwrap_or_default();
    }

    /// Fills the pool up to 56 bits or more; with zeros after the end of the data.
    #[inline]
    fn fill(&mut self) {
        if let Some(word) = self.plain.get(self.place..).and_then(|rest| rest.first_chunk::<8>()) {
            self.pool |= u64::from_be_bytes(*word) >> self.held;
            self.place += ((63 - self.held) >> 3) as usize;
        } else {
            self.fill_at_end();
        }
        self.held |= 56;
    }

    #[cold]
    fn fill_at_end(&mut self) {
        let mut word = [0; 8];
        for (to, &from) in word.iter_mut().zip(self.plain.get(self.place..).unwrap_or_default()) {
            *to = from;
        }
        self.pool |= u64::from_be_bytes(word) >> self.held;
        self.place += ((63 - self.held) >> 3) as usize;
    }

    #[inline]
    pub(crate) fn difference(&mut self, table: &Table<'_>) -> u16 {
        if self.held < 32 {
            self.fill();
        }
        let entry = table.short[(self.pool >> (64 - SHORT)) as usize];
        if entry == 0 {
            return self.long_difference(table);
        }
        let bits = entry & 0xff;
        self.pool <<= bits;
        self.held -= bits;
        (entry >> 16) as u16
    }

    /// Code word and difference of up to 31 bits.
    fn long_difference(&mut self, table: &Table<'_>) -> u16 {
        let code = table.whole.get((self.pool >> 48) as usize).copied().unwrap_or_default();
        if code.bits == 0 {
            self.no_code = true;
        }
        self.pool <<= code.bits;
        // Two shifts: a difference of no bits must leave nothing.
        let value = (self.pool >> 1 >> (63 - u32::from(code.extra))) as u32;
        self.pool <<= code.extra;
        self.held -= u32::from(code.bits) + u32::from(code.extra);
        difference(value, code)
    }

    /// True where code words or data were missing so far.
    pub(crate) fn broken(&self) -> bool {
        self.no_code || self.place > self.plain.len() + self.held as usize / 8
    }
}
