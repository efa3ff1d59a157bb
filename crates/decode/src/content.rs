//! The bytes of a file in memory.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Deref;
use std::path::Path;
use std::sync::Arc;

use crate::dng::DNG_VERSION;

/// Bytes of the first directory that are looked at to tell a DNG.
const LONGEST_DIRECTORY: u64 = 1 << 14;

/// The bytes of a file. A DNG is held in words of 16 bits: where it is not compressed they are its samples, which then stay
/// in the memory that they were read into. Fresh memory for them costs as much as reading the file.
pub struct Content(Held);

enum Held {
    Bytes(Arc<Vec<u8>>),
    /// The file's length in bytes may be odd.
    Words {
        words: Vec<u16>,
        bytes: usize,
    },
}

impl From<Vec<u8>> for Content {
    fn from(bytes: Vec<u8>) -> Self {
        Self(Held::Bytes(Arc::new(bytes)))
    }
}

impl Deref for Content {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        match &self.0 {
            Held::Bytes(bytes) => bytes,
            Held::Words { words, bytes } => &bytemuck::cast_slice(words)[..*bytes],
        }
    }
}

impl Content {
    /// Reads a whole file. A mapped file that is cut while in use would end the program.
    ///
    /// # Errors
    /// What the system says; [`io::ErrorKind::OutOfMemory`] where there is no room for it.
    pub fn read(path: &Path) -> io::Result<Self> {
        let mut file = File::open(path)?;
        let facts = file.metadata()?;
        if facts.is_file() && is_dng(&mut file)? {
            file.rewind()?;
            return Self::read_words(&mut file, facts.len());
        }
        if facts.is_file() {
            file.rewind()?;
        }
        let mut bytes = Vec::new();
        bytes.try_reserve_exact(usize::try_from(facts.len()).unwrap_or(usize::MAX).saturating_add(1))?;
        file.read_to_end(&mut bytes)?;
        Ok(bytes.into())
    }

    fn read_words(file: &mut File, size: u64) -> io::Result<Self> {
        let no_room = || io::Error::from(io::ErrorKind::OutOfMemory);
        let count = usize::try_from(size.div_ceil(2)).map_err(|_| no_room())?;
        // Asked for first, since what is cleared by the system cannot be asked for.
        Vec::<u16>::new().try_reserve_exact(count)?;
        let mut words = vec![0_u16; count];
        let mut bytes = 0;
        loop {
            let room = bytemuck::cast_slice_mut::<u16, u8>(&mut words).get_mut(bytes..).unwrap_or_default();
            if room.is_empty() {
                break;
            }
            match file.read(room) {
                Ok(0) => break,
                Ok(n) => bytes += n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        // An odd length leaves room for one byte more: what is written behind the end meanwhile is not looked at.
        Ok(Self(Held::Words { bytes: bytes.min(usize::try_from(size).unwrap_or(usize::MAX)), words }))
    }

    /// Bytes held as [`Content::read`] holds those of a DNG.
    #[must_use]
    pub fn in_words(bytes: &[u8]) -> Self {
        let mut words = vec![0_u16; bytes.len().div_ceil(2)];
        bytemuck::cast_slice_mut::<u16, u8>(&mut words)[..bytes.len()].copy_from_slice(bytes);
        Self(Held::Words { words, bytes: bytes.len() })
    }

    /// The bytes, to be changed.
    pub(crate) fn as_mut_slice(&mut self) -> &mut [u8] {
        match &mut self.0 {
            Held::Bytes(bytes) => Arc::<Vec<u8>>::make_mut(bytes).as_mut_slice(),
            Held::Words { words, bytes } => &mut bytemuck::cast_slice_mut(words)[..*bytes],
        }
    }

    /// The bytes for readers that keep hold of them.
    pub(crate) fn shared(&mut self) -> Arc<Vec<u8>> {
        if let Held::Words { .. } = self.0 {
            self.0 = Held::Bytes(Arc::new(self.to_vec()));
        }
        match &self.0 {
            Held::Bytes(bytes) => Arc::clone(bytes),
            Held::Words { .. } => Arc::default(),
        }
    }

    /// The words themselves, where it is held in such: nothing of the file is left here then.
    pub(crate) fn take_words(&mut self) -> Option<Vec<u16>> {
        let Held::Words { words, bytes } = &mut self.0 else { return None };
        *bytes = 0;
        Some(std::mem::take(words))
    }
}

/// True where the first directory of a little-endian TIFF says that this is a DNG.
fn is_dng(file: &mut (impl Read + Seek)) -> io::Result<bool> {
    let mut bytes = Vec::new();
    file.take(8).read_to_end(&mut bytes)?;
    let [b'I', b'I', b'*', 0, at @ ..] = &bytes[..] else { return Ok(false) };
    let Ok(at) = <[u8; 4]>::try_from(at) else { return Ok(false) };
    file.seek(SeekFrom::Start(u32::from_le_bytes(at).into()))?;
    let mut directory = Vec::new();
    file.take(LONGEST_DIRECTORY).read_to_end(&mut directory)?;
    let Some((count, entries)) = directory.split_first_chunk() else { return Ok(false) };
    let entries = entries.chunks_exact(12).take(u16::from_le_bytes(*count).into());
    Ok(entries.into_iter().any(|entry| entry.starts_with(&DNG_VERSION.to_le_bytes())))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A directory with one entry, DNGVersion, and `more` bytes behind it.
    fn dng(more: usize) -> Vec<u8> {
        let mut file = b"II*\0\x08\0\0\0\x01\0".to_vec();
        file.extend(DNG_VERSION.to_le_bytes());
        file.extend((0..10 + more).map(|i| i as u8));
        file
    }

    #[test]
    fn files_are_read_whole_whatever_they_are_held_in() {
        let folder = tempfile::tempdir().unwrap();
        for (bytes, words) in
            [(dng(0), true), (dng(1), true), (dng(40_000), true), (vec![1, 2, 3], false), (vec![], false)]
        {
            let path = folder.path().join("file");
            std::fs::write(&path, &bytes).unwrap();
            let mut read = Content::read(&path).unwrap();
            assert_eq!(matches!(read.0, Held::Words { .. }), words);
            assert_eq!(&*read, &bytes[..]);
            assert_eq!(read.as_mut_slice(), &bytes[..]);
            assert_eq!(*read.shared(), bytes);
            assert!(read.take_words().is_none(), "shared bytes cannot be taken");
        }
    }

    #[test]
    fn broken_heads_are_no_dng() {
        let told = |bytes: &[u8]| is_dng(&mut io::Cursor::new(bytes)).unwrap();
        let whole = dng(0);
        assert!(told(&whole));
        assert!((0..whole.len()).all(|cut| !told(&whole[..cut])));
        let mut far = whole.clone();
        far[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
        assert!(!told(&far));
    }
}
