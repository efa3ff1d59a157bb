//! What identifies a file's content without reading all of it.

use std::collections::HashSet;
use std::fs::{File, Metadata};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use rawassay_report::FileId;

/// Bytes taken whole from the start (where the tags are) and from the end.
const END_BYTES: u64 = 64 << 10;
/// Blocks taken in between, evenly spaced: a hole of a sixty-fourth of the file is seen.
const BLOCKS: u64 = 64;
/// Bytes of a block.
const BLOCK_BYTES: u64 = 4 << 10;

/// Size and modification time: the quick look that tells an unchanged file.
pub fn quick(metadata: &Metadata) -> FileId {
    let mtime = metadata.modified().ok().and_then(|t| jiff::Timestamp::try_from(t).ok());
    FileId { size: metadata.len(), mtime: mtime.map(|t| format!("{t:.9}")), hash: String::new() }
}

/// What the quick look sees of a file.
pub fn look(id: &FileId) -> (u64, Option<&str>) {
    (id.size, id.mtime.as_deref())
}

/// Looks that several contents share: uncompressed frames of one burst are of one size, and many cards and copies keep
/// whole seconds. Renumbered, each such file would pass for its neighbour, so these must be told by their content.
pub fn twins<'a>(ids: impl Iterator<Item = &'a FileId>) -> HashSet<(u64, Option<&'a str>)> {
    let mut all: Vec<_> = ids.filter(|id| !id.hash.is_empty()).map(|id| (look(id), id.hash.as_str())).collect();
    all.sort_unstable();
    all.dedup();
    all.windows(2).filter(|pair| pair[0].0 == pair[1].0).map(|pair| pair[0].0).collect()
}

/// The full identity: BLAKE3 over the size, both ends and 64 blocks between them.
///
/// # Errors
/// Where the file cannot be read.
pub fn identify(path: &Path) -> io::Result<FileId> {
    let mut file = File::open(path)?;
    let mut id = quick(&file.metadata()?);
    let mut hasher = blake3::Hasher::new();
    hasher.update(&id.size.to_le_bytes());
    let mut block = vec![0u8; END_BYTES as usize];
    let mut take = |from: u64, bytes: u64| -> io::Result<()> {
        let block = &mut block[..bytes as usize];
        file.seek(SeekFrom::Start(from))?;
        file.read_exact(block)?;
        hasher.update(block);
        Ok(())
    };
    if id.size <= 2 * END_BYTES + BLOCKS * BLOCK_BYTES {
        let mut at = 0;
        while at < id.size {
            let bytes = END_BYTES.min(id.size - at);
            take(at, bytes)?;
            at += bytes;
        }
    } else {
        take(0, END_BYTES)?;
        for k in 1..=BLOCKS {
            take(id.size / (BLOCKS + 1) * k, BLOCK_BYTES)?;
        }
        take(id.size - END_BYTES, END_BYTES)?;
    }
    id.hash = hasher.finalize().to_hex()[..32].to_owned();
    Ok(id)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn the_name_does_not_matter_and_the_content_does() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for size in [0usize, 5, 100_000, 3_000_000] {
            let mut bytes: Vec<u8> = (0..size).map(|i| (i * 7 + i / 251) as u8).collect();
            std::fs::write(at("a"), &bytes).unwrap();
            std::fs::copy(at("a"), at("b")).unwrap();
            let a = identify(&at("a")).unwrap();
            assert_eq!(a.hash, identify(&at("b")).unwrap().hash);
            assert_eq!((a.size, a.hash.len()), (size as u64, 32));
            if size == 0 {
                continue;
            }
            // A hole such as a broken copy leaves: a fortieth of the file, anywhere.
            let hole = (size / 40).max(1);
            for start in [0, size / 3, (size / 2 + 11).min(size - hole), size - hole] {
                let kept = bytes[start..start + hole].to_vec();
                bytes[start..start + hole].fill(0xee);
                std::fs::write(at("b"), &bytes).unwrap();
                assert_ne!(a.hash, identify(&at("b")).unwrap().hash, "{size} {start}");
                bytes[start..start + hole].copy_from_slice(&kept);
            }
        }
        assert!(identify(&at("none")).is_err());
    }
}
