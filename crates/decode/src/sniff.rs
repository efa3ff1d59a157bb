//! Whether bytes begin as a raw file does: enough to keep other programs' hands off a photographer's file.

/// First bytes of raw files, whole or broken. TIFF in all its dialects counts: most raws are TIFF inside.
const BEGINNINGS: [&[u8]; 15] = [
    b"II*\0",
    b"MM\0*",
    b"II+\0",
    b"MM\0+",
    b"IIU\0",
    b"IIRO",
    b"IIRS",
    b"MMOR",
    b"IIII",
    b"FUJIFILMCCD-RAW",
    b"\0MRM",
    b"FOVb",
    b"ARRI",
    b"qktk",
    b"qktn",
];

/// True where a file that begins with these bytes (16 are enough) may be a raw file. Looks at nothing else: a raw that is
/// cut short or damaged is still the photographer's.
#[must_use]
pub fn begins_as_raw(bytes: &[u8]) -> bool {
    BEGINNINGS.iter().any(|b| bytes.starts_with(b))
        || bytes.get(6..14) == Some(b"HEAPCCDR")
        || bytes.get(4..8) == Some(b"ftyp")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn raws_and_nothing_of_ours() {
        for raw in [&b"II*\0\x08\0\0\0"[..], b"MM\0*\0\0\0\x08", b"\0\0\0\x18ftypcrx ", b"II\x1a\0\0\0HEAPCCDR"] {
            assert!(begins_as_raw(raw), "{raw:?}");
        }
        for other in [&b""[..], b"II", b"file,paper", b"{\"record\":1", b"<svg ", b"[\n{\"schema\":1"] {
            assert!(!begins_as_raw(other), "{other:?}");
        }
    }
}
