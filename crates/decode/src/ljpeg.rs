//! Lossless JPEG streams, looked at without decoding: sizes, and whether the coded data run without a break from the
//! scan header to the end marker.
//!
//! Decoders take a broken stream for samples to the last one and say nothing. But in a whole stream every 0xFF of the
//! coded data is followed by a zero, and the data end with the end marker (ITU-T T.81, annexes B and H): a cut, a
//! block of 0xFF or a block of random bytes shows at once. A block of zeros does not; a long run of them is followed
//! code word by code word, and a whole stream ends where its last sample ends.

/// Bytes that are tested at once.
const STEP: usize = 32;
/// Zero bytes in a row that call for a closer look.
const LONG_ZEROS: usize = 2 * STEP;

/// What the markers say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Stream {
    /// Start-of-frame marker: 0xC3 for lossless.
    pub(crate) frame: u8,
    pub(crate) precision: u32,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) components: usize,
    /// True where a component is subsampled.
    subsampled: bool,
    /// Selection value of the scan: the predictor of lossless streams.
    pub(crate) predictor: u8,
    /// Successive approximation of the scan: the point transform of lossless streams.
    transform: u8,
    /// Huffman table of each component of the scan, and the tables, by the next 16 bits.
    tables: Vec<usize>,
    codes: Vec<Option<Vec<Code>>>,
    restarts: bool,
    /// Where the coded data start.
    data: usize,
}

/// A Huffman code word: its own bits (0: no code word), the bits of the difference that follow, and the lower bits of the
/// difference that are left out (by NEF alone).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Code {
    pub(crate) bits: u8,
    pub(crate) extra: u8,
    pub(crate) omitted: u8,
}

impl Code {
    fn total(self) -> u8 {
        // A difference of 16 bits is implied and stores none (T.81, H.1.2.2).
        if self.extra >= 16 { self.bits } else { self.bits + self.extra }
    }
}

impl Stream {
    /// The table of each component, by the next 16 bits; `None` where one is missing.
    pub(crate) fn codes(&self) -> Option<Vec<&[Code]>> {
        let table = |&t: &usize| self.codes.get(t)?.as_deref();
        self.tables.iter().map(table).collect::<Option<Vec<_>>>().filter(|tables| !tables.is_empty())
    }

    /// True for one scan without restart markers and point transform, by a predictor of the standard.
    pub(crate) fn plain_scan(&self) -> bool {
        !self.restarts && self.transform == 0 && (1..=7).contains(&self.predictor)
    }

    /// Where the coded data start.
    pub(crate) fn data(&self) -> usize {
        self.data
    }

    /// Samples stored.
    pub(crate) fn samples(&self) -> u64 {
        self.width as u64 * self.height as u64 * self.components as u64
    }

    /// True where the samples come out as stored: lossless, no colour planes of lower resolution.
    pub(crate) fn lossless_mosaic(&self) -> bool {
        self.frame == 0xc3 && !self.subsampled
    }
}

/// Reads the markers up to the scan. `None` for what is no JPEG.
pub(crate) fn markers(bytes: &[u8]) -> Option<Stream> {
    let be = |at: usize| Some(usize::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)));
    if !bytes.starts_with(&[0xff, 0xd8]) {
        return None;
    }
    let mut stream = Stream {
        frame: 0,
        precision: 0,
        width: 0,
        height: 0,
        components: 0,
        subsampled: false,
        tables: Vec::new(),
        codes: vec![None; 4],
        predictor: 0,
        transform: 0,
        restarts: false,
        data: 0,
    };
    let mut ids = Vec::new();
    let mut at = 2;
    loop {
        while bytes.get(at) == Some(&0xff) && bytes.get(at + 1) == Some(&0xff) {
            at += 1;
        }
        let (fill, marker) = (*bytes.get(at)?, *bytes.get(at + 1)?);
        if fill != 0xff {
            return None;
        }
        let length = be(at + 2)?;
        let segment = bytes.get(at + 4..at + 2 + length.max(2))?;
        match marker {
            0xc4 => define_tables(segment, &mut stream.codes)?,
            0xdd => stream.restarts = segment.iter().any(|&b| b != 0),
            0xc0..=0xcf => {
                stream.frame = marker;
                stream.precision = u32::from(*segment.first()?);
                (stream.height, stream.width) = (be(at + 5)?, be(at + 7)?);
                stream.components = usize::from(*segment.get(5)?);
                let parts = segment.get(6..6 + 3 * stream.components)?;
                ids = parts.chunks_exact(3).map(|p| p[0]).collect();
                stream.subsampled = parts.chunks_exact(3).any(|p| p[1] != 0x11);
            }
            0xda => {
                let count = usize::from(*segment.first()?);
                let selectors = segment.get(1..1 + 2 * count)?;
                stream.tables = selectors.chunks_exact(2).map(|s| usize::from(s[1] >> 4)).collect();
                if count != ids.len() {
                    stream.tables.clear();
                }
                stream.predictor = segment.get(1 + 2 * count).copied().unwrap_or(0);
                stream.transform = segment.get(3 + 2 * count).copied().unwrap_or(0);
                stream.data = at + 2 + length;
                return Some(stream).filter(|s| s.frame != 0);
            }
            _ => {}
        }
        at += 2 + length;
    }
}

/// Huffman tables of a DHT segment, by the next 16 bits.
fn define_tables(mut segment: &[u8], tables: &mut [Option<Vec<Code>>]) -> Option<()> {
    while !segment.is_empty() {
        let slot = usize::from(*segment.first()?);
        let counts = segment.get(1..17)?;
        let total: usize = counts.iter().map(|&c| usize::from(c)).sum();
        let values = segment.get(17..17 + total)?;
        // Longer differences do not exist (T.81, table H.2).
        let codes = code_words(counts, values.iter().map(|&extra| (extra.min(16), 0)))?;
        if let Some(table) = tables.get_mut(slot) {
            *table = Some(codes);
        }
        segment = &segment[17 + total..];
    }
    Some(())
}

/// A table by the next 16 bits: how many code words there are of each length from 1, and of each in turn the bits of the
/// difference that follow and those that are left out.
pub(crate) fn code_words(counts: &[u8], mut differences: impl Iterator<Item = (u8, u8)>) -> Option<Vec<Code>> {
    let mut codes = vec![Code::default(); 1 << 16];
    let mut code = 0_usize;
    for (bits, &count) in (1..=16).zip(counts) {
        for _ in 0..count {
            let (extra, omitted) = differences.next()?;
            let span = 1 << (16 - bits);
            codes.get_mut(code..code + span)?.fill(Code { bits, extra, omitted });
            code += span;
        }
    }
    Some(codes)
}

/// What is wrong with a stream's coded data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Break {
    /// No end marker: the stream was cut.
    NoEnd,
    /// A marker that has no place there, at this byte of the stream.
    Stray(usize),
    /// The code words do not come out with the data.
    Content,
}

/// Follows the coded data to the end marker. `None` where nothing is wrong.
pub(crate) fn find_break(bytes: &[u8], stream: &Stream) -> Option<Break> {
    if stream.frame != 0xc3 {
        // Lossy streams may have several scans: the end marker is all that is asked of them.
        let tail = &bytes[bytes.len().saturating_sub(4096)..];
        return if tail.windows(2).any(|w| w == [0xff, 0xd9]) { None } else { Some(Break::NoEnd) };
    }
    let mut at = stream.data;
    let (mut zeros, mut longest) = (0, 0);
    let end = loop {
        let Some(chunk) = bytes.get(at..at + STEP) else {
            match stuffed(bytes, at, bytes.len()) {
                Ok(_) => return Some(Break::NoEnd),
                Err(marker) => break marker,
            }
        };
        let (mut any, mut ff) = (0, false);
        for &b in chunk {
            any |= b;
            ff |= b == 0xff;
        }
        zeros = if any == 0 { zeros + STEP } else { 0 };
        longest = longest.max(zeros);
        if ff {
            match stuffed(bytes, at, at + STEP) {
                Ok(next) => at = next,
                Err(marker) => break marker,
            }
        } else {
            at += STEP;
        }
    };
    if bytes.get(end + 1) != Some(&0xd9) {
        return Some(if end + 1 >= bytes.len() { Break::NoEnd } else { Break::Stray(end) });
    }
    if longest >= LONG_ZEROS && walk(bytes, stream, end) == Some(false) {
        return Some(Break::Content);
    }
    None
}

/// Steps over stuffed 0xFF and restart markers in `from..to`; the place to go on, or that of another marker.
fn stuffed(bytes: &[u8], from: usize, to: usize) -> Result<usize, usize> {
    let mut at = from;
    while at < to {
        if bytes[at] == 0xff {
            match bytes.get(at + 1) {
                Some(0 | 0xd0..=0xd7) => at += 1,
                // Fill bytes before a marker are allowed.
                Some(0xff) if bytes.get(at + 2) == Some(&0xd9) => return Err(at + 1),
                _ => return Err(at),
            }
        }
        at += 1;
    }
    Ok(at)
}

/// Bytes that may follow the last sample before the end marker.
const PADDING: usize = 16;

/// Whether the code words of all samples fill the coded data exactly. `None` where this cannot be told (restart
/// markers, subsampling, missing tables).
fn walk(bytes: &[u8], stream: &Stream, end: usize) -> Option<bool> {
    if stream.restarts || stream.subsampled || stream.frame != 0xc3 {
        return None;
    }
    let tables = stream.codes()?;
    let pixels = stream.width * stream.height;
    let (mut at, mut pool, mut held) = (stream.data, 0_u64, 0_u32);
    for _ in 0..pixels {
        for table in &tables {
            while held <= 48 {
                let byte = if at < end { bytes[at] } else { 0 };
                at += if byte == 0xff { 2 } else { 1 };
                pool = pool << 8 | u64::from(byte);
                held += 8;
            }
            let bits = u32::from(table[(pool >> (held - 16) & 0xffff) as usize].total());
            if bits == 0 || at > end + 64 {
                return Some(false);
            }
            held -= bits;
        }
    }
    let read = at.saturating_sub(held as usize / 8);
    Some(read <= end + 2 && read + PADDING >= end)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A stream of one component whose only code word is one bit "0" for the difference 0.
    fn flat(width: u16, height: u16) -> Vec<u8> {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xc3, 0, 11, 14];
        bytes.extend(height.to_be_bytes());
        bytes.extend(width.to_be_bytes());
        bytes.extend([1, 0, 0x11, 0]);
        bytes.extend([0xff, 0xc4, 0, 20, 0, 1]);
        bytes.extend([0; 15]);
        bytes.push(0);
        bytes.extend([0xff, 0xda, 0, 8, 1, 0, 0, 1, 0, 0]);
        bytes.extend(vec![0; (usize::from(width) * usize::from(height)).div_ceil(8)]);
        bytes.extend([0xff, 0xd9]);
        bytes
    }

    #[test]
    fn a_flat_frame_is_whole() {
        let bytes = flat(640, 64);
        let stream = markers(&bytes).unwrap();
        assert_eq!((stream.width, stream.height, stream.components, stream.precision), (640, 64, 1, 14));
        assert_eq!(find_break(&bytes, &stream), None);
    }

    #[test]
    fn cuts_and_foreign_blocks_show() {
        let whole = flat(640, 64);
        let stream = markers(&whole).unwrap();
        assert_eq!(find_break(&whole[..whole.len() - 2], &stream), Some(Break::NoEnd));
        assert_eq!(find_break(&whole[..whole.len() - 1], &stream), Some(Break::NoEnd));
        let mut ones = whole.clone();
        ones[600..1112].fill(0xff);
        assert_eq!(find_break(&ones, &stream), Some(Break::Stray(600)));
        let mut other = whole.clone();
        other[600..605].fill(0x80); // no code word starts with a one
        assert_eq!(find_break(&other, &stream), Some(Break::Content));
        let mut longer = whole.clone();
        longer.splice(600..600, [0; 512]);
        assert_eq!(find_break(&longer, &stream), Some(Break::Content));
    }

    #[test]
    fn nothing_panics_on_any_prefix() {
        let whole = flat(33, 9);
        for length in 0..whole.len() {
            if let Some(stream) = markers(&whole[..length]) {
                assert!(find_break(&whole[..length], &stream).is_some(), "{length}");
            }
        }
    }
}
